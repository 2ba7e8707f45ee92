"""Where bolts, keys and pry slots stand on one mating face, before it is decided how high that face lies there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Point as PlanPoint

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.bolt_row import along, apart, equal_pitch, length
from shellgen.mold.flange import FlangePlan
from shellgen.mold.registration import choose_keys, wrong_closings
from shellgen.standards.fasteners import BoltData
from shellgen.standards.fasteners import bolt as bolt_data

KEYS = 4
SEAT_MM = 1.5  # a terrace reaches this far beyond what lies on it
SLOT_HALF_MM = 8.0
UNEVEN_MM = 3.0
STEEP = 0.3  # rise over run of a parting beyond which keys and slots look for another place

Seat = tuple[float, float, float]
Slot = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places on a mating face, in the first piece's plan.

    spots : (n, 2) bolt axes. middles, tangents : (m, 2) midway between neighbours, and the line's direction there.
    keys : indices into middles; turned : which of them have their male on the second piece. radius_mm, height_mm,
    tip_mm : of a key, with its radius at the tip. slots : edge point and outward direction (x, y, dx, dy) of the pry
    slots.
    """

    spots: FloatArray
    middles: FloatArray
    tangents: FloatArray
    keys: tuple[int, ...]
    turned: tuple[bool, ...]
    radius_mm: float
    height_mm: float
    tip_mm: float
    slots: tuple[Slot, ...]

    def seats(self, data: BoltData) -> tuple[Seat, ...]:
        """Discs (x, y, radius) that must be flat: under washers, round keys and slots."""
        bolts = [(float(x), float(y), data.washer_od_mm / 2 + SEAT_MM) for x, y in self.spots]
        keys = [(float(x), float(y), self.radius_mm + SEAT_MM) for x, y in self.middles[list(self.keys)]]
        return (*bolts, *keys, *((x, y, SLOT_HALF_MM + SEAT_MM) for x, y, _, _ in self.slots))


def bolt_offset_mm(data: BoltData) -> float:
    """Wall to bolt axis: the washer lies 1.5 mm clear of the wall."""
    return data.washer_od_mm / 2 + 1.5


def find_places(
    plan: FlangePlan,
    settings: Settings,
    *,
    lean_deg: float = 0.0,
    steep: Callable[[FloatArray], FloatArray] | None = None,
) -> Places:
    """Bolts at equal pitch along the flange; keys and slots between them.

    lean_deg : between the pull and the face's normal; keys are wide enough to slide out along the pull. steep : slope
    of the parting at points (k, 2), where it is not flat: keys and slots keep to its flat stretches.
    """
    data = bolt_data(str(settings.bolts.size))
    thickness = float(settings.flange.thickness_mm or 0.0)
    pitch = settings.bolts.pitch_mm
    if not isinstance(pitch, float):
        raise DesignError("bolts.pitch_mm is still open.")
    spots, middles, tangents = _rows(plan, pitch, data.washer_od_mm + 2.0, UNEVEN_MM if lean_deg > 0 else 0.0)
    off = bolt_offset_mm(data)
    width = float(settings.flange.width_mm or 0.0)
    room = min(
        off - 1.0, width - off - 1.5, 0.5 * _least_gap(spots, middles) - data.washer_od_mm / 2 - 0.5, 0.9 * thickness
    )
    radius = max(room, 1.5)
    height, tip = _key_size(settings, radius, thickness, lean_deg)
    hole = data.hole_mm[settings.bolts.fit]
    holes = shapely.union_all([PlanPoint(p).buffer(hole / 2 + 0.5 * radius) for p in spots])
    land = plan.outline.difference(plan.section).difference(holes)
    fit = shapely.contains_xy(plan.outline.buffer(-radius - 0.5), middles[:, 0], middles[:, 1]) if len(middles) else []
    if steep is not None and len(middles):
        fit = np.asarray(fit) & (steep(middles) < STEEP)
    usable = np.flatnonzero(fit)
    picked, turned = choose_keys(middles[usable], KEYS, radius, land, wrong_closings(spots))
    chosen = usable[picked]
    slots: tuple[Slot, ...] = ()
    if settings.flange.pry_slots:
        slots = _slots(plan, middles[np.setdiff1d(np.arange(len(middles)), chosen)], steep)
    keys = tuple(int(k) for k in chosen)
    return Places(spots, middles, tangents, keys, turned, float(radius), float(height), float(tip), slots)


def _key_size(settings: Settings, radius: float, thickness: float, lean_deg: float) -> tuple[float, float]:
    """Height of a key and its radius at the tip; along a leaning pull its flank must lie flatter than the pull."""
    height = min(0.5 * thickness, radius)
    if lean_deg <= 0:
        return height, 0.5 * radius
    flank = np.radians(lean_deg + settings.jacket.draft_deg)
    if settings.flange.keys == "dome":
        return min(height, radius * float(np.tan(0.5 * (0.5 * np.pi - flank)))), 0.0
    height = min(height, 0.75 * radius / float(np.tan(flank)))
    return height, radius - height * float(np.tan(flank))


def _rows(
    plan: FlangePlan, pitch_mm: float, least_mm: float, uneven_mm: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Bolt places, places midway between neighbours, and the line's direction there, over all lines of a flange.

    uneven_mm : by which the middle of an open row is moved along it. A flange that ends at the axis, turned half round,
    has too little land in common with itself for a key; so its bolts must not meet their own holes.
    """
    spots, middles, tangents = [], [], []
    for line, closed in zip(plan.bolt_line, plan.closed, strict=True):
        total = length(line)
        uneven = 0.0 if closed else min(uneven_mm, 0.05 * total)
        s = np.sort(equal_pitch(line, closed, pitch_mm - uneven, least_mm + uneven, 4))
        s = s + 4.0 * uneven * (s / total) * (1.0 - s / total)
        found = along(line, s)
        keep = apart(found, least_mm)
        s, found = s[keep], found[keep]
        spots.append(found)
        gaps = np.diff(np.concatenate([s, s[:1] + total])) if closed else np.diff(s)
        at = (s[: len(gaps)] + 0.5 * gaps) % total if closed else s[:-1] + 0.5 * gaps
        ahead, behind = along(line, np.minimum(at + 0.5, total)), along(line, np.maximum(at - 0.5, 0.0))
        turn = ahead - behind
        middles.append(along(line, at))
        tangents.append(turn / np.maximum(np.hypot(*turn.T), 1e-9)[:, None])
    if not spots:
        raise DesignError(
            "No bolt fits on the parting flange: the pattern is too low above its board. Raise it, or give smaller "
            "bolts."
        )
    bolts = np.concatenate(spots)
    bolts = bolts[apart(bolts, least_mm)]
    return bolts, np.concatenate(middles), np.concatenate(tangents)


def _least_gap(spots: FloatArray, middles: FloatArray) -> float:
    """Twice the least distance from a place midway to a bolt."""
    if len(middles) == 0:
        return 0.0
    d = np.hypot(middles[:, None, 0] - spots[None, :, 0], middles[:, None, 1] - spots[None, :, 1])
    return 2 * float(np.median(d.min(axis=1)))


def _slots(plan: FlangePlan, places: FloatArray, steep: Callable[[FloatArray], FloatArray] | None) -> tuple[Slot, ...]:
    """Two slots at the edge, far from each other, for a flat bar; on flat stretches where there are any."""
    if steep is not None and len(places):
        flat = steep(places) < STEEP
        places = places[flat] if flat.any() else places[:0]
    if len(places) == 0:
        return ()
    a = int(np.argmax(places[:, 0] + 0.3 * places[:, 1]))
    b = int(np.argmax(np.hypot(*(places - places[a]).T)))
    out = []
    for k in dict.fromkeys((a, b)):
        p = PlanPoint(places[k])
        edge = plan.outline.exterior
        q = np.asarray(edge.interpolate(edge.project(p)).coords[0])
        way = q - places[k]
        size = float(np.hypot(*way))
        if size < 1e-6:
            continue
        out_x, out_y = way / size
        out.append((float(q[0]), float(q[1]), float(out_x), float(out_y)))
    return tuple(out)
