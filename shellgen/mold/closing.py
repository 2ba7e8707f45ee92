"""What holds two halves together and in place: bolt holes, keys and sockets, pry slots on one mating pair."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Point as PlanPoint

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.bolt_row import along, apart, equal_pitch, length
from shellgen.mold.flange import FlangePlan
from shellgen.mold.mold import Bolt, End, Key
from shellgen.mold.registration import choose_keys, wrong_closings
from shellgen.solid.recipe import Dome, Feature, Frustum, Prism, Role, transform
from shellgen.standards.fasteners import BoltData
from shellgen.standards.fasteners import bolt as bolt_data

KEYS = 4
NUT_PLAY_MM = 0.3  # a hex pocket is this much wider than the nut; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Closing:
    """Features of both halves in their own pull frames, and the bolts and keys in the mold frame.

    middles : (n, 2) places midway between bolts in the first half's plan, for marks.
    """

    first: tuple[Feature, ...]
    second: tuple[Feature, ...]
    bolts: tuple[Bolt, ...]
    keys: tuple[Key, ...]
    spots: FloatArray
    middles: FloatArray
    tangents: FloatArray


def bolt_offset_mm(data: BoltData) -> float:
    """Wall to bolt axis: the washer lies 1.5 mm clear of the wall."""
    return data.washer_od_mm / 2 + 1.5


def closing(plan: FlangePlan, settings: Settings, pair: tuple[str, str], pull_to_mold: FloatArray) -> Closing:
    """Bolts, keys and slots along the flange of two halves. `pull_to_mold` : of the first half."""
    data = bolt_data(str(settings.bolts.size))
    thickness = float(settings.flange.thickness_mm or 0.0)
    pitch = settings.bolts.pitch_mm
    if not isinstance(pitch, float):
        raise DesignError("bolts.pitch_mm is still open.")
    least = data.washer_od_mm + 2.0
    spots, middles, tangents = _rows(plan, pitch, least)
    first: list[Feature] = []
    second: list[Feature] = []
    bolts: list[Bolt] = []
    hole = data.hole_mm[settings.bolts.fit]
    end, far = _nut_end(settings, data, thickness)
    for x, y in spots:
        first.append(_bore(x, y, hole / 2, -1.0, thickness + 1.0, True, Role.BOLT_HOLE))
        second += _nut_side(settings, data, -x, y, thickness, hole)
        seats = transform(np.array([[x, y, thickness], [x, y, -far]]), pull_to_mold)
        bolts.append(Bolt(pair, data.size, (_point(seats[0]), _point(seats[1])), ("washer", end), "closing", hole))
    off = bolt_offset_mm(data)
    width = float(settings.flange.width_mm or 0.0)
    room = min(
        off - 1.0, width - off - 1.5, 0.5 * _least_gap(spots, middles) - data.washer_od_mm / 2 - 0.5, 0.9 * thickness
    )
    radius = max(room, 1.5)
    height = min(0.5 * thickness, radius)
    holes = shapely.union_all([PlanPoint(p).buffer(hole / 2 + 0.5 * radius) for p in spots])
    land = plan.outline.difference(plan.section).difference(holes)
    fit = shapely.contains_xy(plan.outline.buffer(-radius - 0.5), middles[:, 0], middles[:, 1]) if len(middles) else []
    usable = np.flatnonzero(fit)
    chosen = usable[choose_keys(middles[usable], KEYS, radius, land, wrong_closings(spots))]
    keys: list[Key] = []
    for x, y in middles[chosen]:
        first.append(Feature(Role.KEY, _male(settings, x, y, radius, height), add=True))
        second.append(Feature(Role.SOCKET, _female(settings, -x, y, radius, height), add=False))
        at = transform(np.array([[x, y, 0.0]]), pull_to_mold)[0]
        keys.append(Key(pair, settings.flange.keys, _point(at), float(radius), float(height)))
    if settings.flange.pry_slots:
        free = np.setdiff1d(np.arange(len(middles)), chosen)
        first += _pry_slots(plan, middles[free], thickness, width - off)
    return Closing(tuple(first), tuple(second), tuple(bolts), tuple(keys), spots, middles, tangents)


def _rows(plan: FlangePlan, pitch_mm: float, least_mm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Bolt places, places midway between neighbours, and the line's direction there, over all lines of a flange."""
    spots, middles, tangents = [], [], []
    for line, closed in zip(plan.bolt_line, plan.closed, strict=True):
        total = length(line)
        s = np.sort(equal_pitch(line, closed, pitch_mm, least_mm, 4))
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


def _bore(x: float, y: float, r: float, low: float, high: float, through: bool, role: Role) -> Feature:
    return Feature(
        role, Frustum((float(x), float(y), low), (0.0, 0.0, 1.0), high - low, r, r), add=False, through=through
    )


def _nut_end(settings: Settings, data: BoltData, thickness: float) -> tuple[End, float]:
    """What stands at the second half's end, and how far its seat lies from the parting."""
    nut = settings.bolts.nut
    if nut == "pocket":
        left = thickness - data.nut_m_mm - NUT_PLAY_MM
        if left < 3.0:
            raise DesignError(
                f"bolts.nut = 'pocket': {left:.1f} mm of flange are left under an {data.size} nut. "
                f"Give flange.thickness_mm = {data.nut_m_mm + NUT_PLAY_MM + 3.0:.1f} or more, or nut = 'washer'."
            )
        return "pocket", left
    if nut == "insert":
        if data.insert is None:
            raise DesignError(
                f"bolts.nut = 'insert': no insert bore is tabulated for {data.size}. Use M4 to M6, or nut = 'washer'."
            )
        if data.insert.depth_mm > thickness - 1.0:
            raise DesignError(
                f"bolts.nut = 'insert': the bore for {data.size} is {data.insert.depth_mm:g} deep. "
                f"Give flange.thickness_mm = {data.insert.depth_mm + 1.0:g} or more."
            )
        return "insert", data.insert.depth_mm
    return "washer", thickness


def _nut_side(settings: Settings, data: BoltData, x: float, y: float, thickness: float, hole: float) -> list[Feature]:
    if settings.bolts.nut == "insert" and data.insert is not None:
        return [_bore(x, y, data.insert.bore_mm / 2, -1.0, data.insert.depth_mm, False, Role.INSERT)]
    out = [_bore(x, y, hole / 2, -1.0, thickness + 1.0, True, Role.BOLT_HOLE)]
    if settings.bolts.nut == "pocket":
        corner = (data.nut_s_mm + NUT_PLAY_MM) / np.sqrt(3.0)
        a = np.pi / 3 * np.arange(6)
        hexagon = tuple((float(x + corner * np.cos(t)), float(y + corner * np.sin(t))) for t in a)
        low = thickness - data.nut_m_mm - NUT_PLAY_MM
        shape = Prism(hexagon, (), (0.0, 0.0, low), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), data.nut_m_mm + NUT_PLAY_MM + 1.0)
        out.append(Feature(Role.POCKET, shape, add=False))
    return out


def _male(settings: Settings, x: float, y: float, radius: float, height: float) -> Frustum | Dome:
    down, lift = (0.0, 0.0, -1.0), 0.4
    if settings.flange.keys == "dome":
        return Dome((float(x), float(y), lift), down, radius, height + lift)
    slope = 0.5 * radius / height
    return Frustum((float(x), float(y), lift), down, height + lift, radius + slope * lift, 0.5 * radius)


def _female(settings: Settings, x: float, y: float, radius: float, height: float) -> Frustum | Dome:
    up, lift, play = (0.0, 0.0, 1.0), 0.4, settings.flange.key_clearance_mm
    if settings.flange.keys == "dome":
        return Dome((float(x), float(y), -lift), up, radius + play, height + play + lift)
    slope = 0.5 * radius / height
    side = play * float(np.hypot(1.0, slope))
    return Frustum(
        (float(x), float(y), -lift),
        up,
        height + play + lift,
        radius + side + slope * lift,
        0.5 * radius + side - slope * play,
    )


def _pry_slots(plan: FlangePlan, places: FloatArray, thickness: float, to_edge: float) -> list[Feature]:
    """Two slots at the edge, far from each other, for a flat bar; in the first half only."""
    if len(places) == 0:
        return []
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
        deep, half, high = min(0.7 * to_edge, 8.0), 8.0, min(2.5, 0.35 * thickness)
        corners = [(-deep, -half), (3.0, -half), (3.0, half), (-deep, half)]
        ring = tuple((float(q[0] + u * out_x - v * out_y), float(q[1] + u * out_y + v * out_x)) for u, v in corners)
        shape = Prism(ring, (), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), high + 1.0)
        out.append(Feature(Role.PRY_SLOT, shape, add=False))
    return out


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
