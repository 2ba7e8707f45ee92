"""The port of a closed mold: a boss on the first piece, a bore through the shell along its pull, and a bolted lid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt, gaussian_filter

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.mold import Bolt
from shellgen.mold.skins import Skins
from shellgen.solid.mesh import segments
from shellgen.solid.recipe import Feature, Frustum, Outline, PlateRecipe, Role, transform
from shellgen.standards.fasteners import BoltData, Insert
from shellgen.standards.fasteners import bolt as bolt_data

LID_BOLTS = 4
ROUND_ABOUT = 0.2  # of the room at the port: how far round it slopes are looked at
LEAST_BORE_MM = 5.0
INSERT_WALL_MM = 2.4  # about an insert; common practice, no source


@dataclass(frozen=True, slots=True)
class PortPlace:
    """Where the port stands in its piece's plan, and the largest boss that stands wholly on the shell."""

    x_mm: float
    y_mm: float
    room_mm: float


def port_place(jacket: Envelope, level_mm: float) -> PortPlace:
    """The broadest spot of a jacket seen from its pull: where most surface lies above `level_mm` all round.

    Of the spots that are about as broad, the one where the surface round about leans least: a bore through a slope
    leaves a thin edge.
    """
    g = jacket.grid
    room = distance_transform_edt(jacket.heights_mm > level_mm) * g.pitch_mm
    gy, gx = np.gradient(jacket.heights_mm, g.pitch_mm)
    broad = room >= 0.93 * room.max()
    lean = gaussian_filter(np.minimum(np.hypot(gx, gy), 3.0), ROUND_ABOUT * room.max() / g.pitch_mm)
    slope = np.where(broad, lean, np.inf)
    i, j = np.unravel_index(int(np.argmin(slope)), slope.shape)
    return PortPlace(float(g.x_mm[j]), float(g.y_mm[i]), float(room[i, j]))


@dataclass(frozen=True, slots=True, eq=False)
class Port:
    """A designed port: features of its piece, its lid, the lid's bolts (in the mold frame), the bore."""

    features: tuple[Feature, ...]
    lid: PlateRecipe | None
    bolts: tuple[Bolt, ...]
    bore_mm: float
    boss_mm: float
    place: PortPlace


def _lid_bolt(room_mm: float) -> tuple[BoltData, Insert]:
    """The lid's bolt and insert: M5 where there is room, M4 else."""
    data = bolt_data("M5" if room_mm >= 50.0 else "M4")
    if data.insert is None:
        raise DesignError(f"No insert bore is tabulated for {data.size}, which the port's lid needs.")
    return data, data.insert


def bore_mm(place: PortPlace, settings: Settings) -> float:
    """Diameter of the port: as asked, or as wide as the shell allows with a ring for the lid's inserts about it."""
    ring = _lid_bolt(place.room_mm)[1].bore_mm + 2 * INSERT_WALL_MM
    wanted = float(settings.port.diameter_mm or 40.0)
    if place.room_mm - ring < LEAST_BORE_MM / 2:  # no room for a boss: a plain hole
        return max(min(wanted, place.room_mm), 4.0)
    return min(wanted, 2 * (place.room_mm - ring))


def design_port(
    place: PortPlace,
    skins: Skins,
    *,
    piece: str,
    bore: float,
    lid_mm: float,
    lid: bool,
    pull_to_mold: FloatArray,
    fit: str,
    wall_mm: float,
    low_mm: float = 0.0,
) -> Port:
    """Boss, bore of that radius [mm] and lid at a place; a plain hole where the shell has no room for a boss.

    low_mm : lowest place of the parting.
    """
    data, insert = _lid_bolt(place.room_mm)
    ring = insert.bore_mm + 2 * INSERT_WALL_MM
    outer = bore + ring
    at = (place.x_mm, place.y_mm)
    g = skins.outside.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    rho = np.hypot(x - at[0], y - at[1])
    up = (0.0, 0.0, 1.0)
    if outer > place.room_mm + 1e-6:
        over = float(skins.outside.heights_mm.max()) + 2.0 - low_mm
        plain = Frustum((*at, low_mm - 1.0), up, over, bore, bore)
        hole_only = Feature(Role.PORT, plain, add=False, through=True)
        return Port((hole_only,), None, (), 2 * bore, bore, place)
    disc = rho <= outer + 1.5 * g.pitch_mm
    top = float(skins.outside.heights_mm[disc].max())
    circle = bore + ring / 2
    angles = 2 * np.pi * np.arange(LID_BOLTS) / LID_BOLTS + np.pi / 4
    spots = np.column_stack([at[0] + circle * np.cos(angles), at[1] + circle * np.sin(angles)])
    about = insert.bore_mm / 2 + wall_mm + g.pitch_mm  # a wall under each insert and beside it
    under = max(float(skins.inside.heights_mm[np.hypot(x - sx, y - sy) <= about].max()) for sx, sy in spots)
    seat = max(top + 1.0, under + insert.depth_mm + wall_mm)
    rise = seat - low_mm
    boss = Frustum((*at, low_mm + 0.5), up, rise - 0.5, outer, outer)
    hollow = Frustum((*at, low_mm - 1.0), up, rise + 2.0, bore, bore)
    features = [
        Feature(Role.PORT, boss, add=True, body=True),
        Feature(Role.PORT, hollow, add=False, body=False, through=True),
    ]
    bolts: list[Bolt] = []
    plate = None
    if lid:
        depth = insert.depth_mm
        holes = []
        hole = data.hole_mm[fit] / 2  # type: ignore[index]
        for sx, sy in spots:
            r = insert.bore_mm / 2
            features.append(
                Feature(Role.INSERT, Frustum((float(sx), float(sy), seat - depth), up, depth + 1.0, r, r), add=False)
            )
            holes.append(
                Feature(
                    Role.BOLT_HOLE,
                    Frustum((float(sx) - at[0], float(sy) - at[1], -1.0), up, lid_mm + 2.0, hole, hole),
                    add=False,
                    through=True,
                )
            )
            ends = transform(np.array([[sx, sy, seat + lid_mm], [sx, sy, seat - insert.length_mm]]), pull_to_mold)
            bolts.append(
                Bolt(
                    ("lid", piece), data.size, (_point(ends[0]), _point(ends[1])), ("washer", "insert"), "lid", 2 * hole
                )
            )
        n = segments(outer)
        a = 2 * np.pi * np.arange(n) / n
        rim = tuple((float(outer * np.cos(t)), float(outer * np.sin(t))) for t in a)
        frame = np.eye(4)
        frame[:3, 3] = (*at, seat)
        plate = PlateRecipe("lid", "lid", pull_to_mold @ frame, Outline(rim, (), lid_mm), tuple(holes))
    return Port(tuple(features), plate, tuple(bolts), 2 * bore, outer, place)


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
