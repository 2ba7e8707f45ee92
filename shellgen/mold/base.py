"""The shell's foot on the board: base flange, board bolts, locating pins, and the lid that takes the board's place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon, box

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.mold.bolt_row import along, apart, equal_pitch, length
from shellgen.mold.flange import grown, polygons
from shellgen.solid.recipe import BaseFlange, Feature, Frustum, Role

CLEAR_ABOVE_MM = 25.0  # a washer's seat stands clear of the wall up to this height over the base flange
LEAST_SIDE_MM = 1.0  # a base flange ends in an upright side over a stepped flange, not in a feather edge along it


@dataclass(frozen=True, slots=True, eq=False)
class Foot:
    """One piece's base flange with its board bolts and pin, in the board's plan (x, z) of its pull frame."""

    flange: BaseFlange
    bolts: FloatArray
    pin: FloatArray | None
    outline: Polygon


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """How a parting that is not flat runs along the board.

    x_mm : (n,) along the board. lie_mm : (n,) height of the parting there. clear_mm : (n,) how high its flange reaches
    where a spanner works. stepped_mm : (n,) how high a stepped flange reaches within the base flange.
    """

    x_mm: FloatArray
    lie_mm: FloatArray
    clear_mm: FloatArray
    stepped_mm: FloatArray | None = None

    def at(self, x_mm: FloatArray) -> FloatArray:
        """Height of the parting along the board."""
        return np.interp(x_mm, self.x_mm, self.lie_mm)

    def free(self, by_mm: float, high_mm: float) -> Polygon:
        """Plan (x, z) that lies that far clear of the parting's flange."""
        low = float(self.clear_mm.min()) - 1.0
        under = [(self.x_mm[0], low), *zip(self.x_mm, self.clear_mm, strict=True), (self.x_mm[-1], low)]
        high = max(high_mm, float(self.clear_mm.max())) + by_mm + 1.0
        whole = box(self.x_mm[0], low, self.x_mm[-1], high)
        return whole.difference(Polygon(under).buffer(by_mm))


def wall_plan(outside: Envelope, thickness_mm: float, standing: Standing | None = None) -> Polygon:
    """Plan (x, z) on the board that the wall covers, with all that overhangs the base flange where a spanner works."""
    g = outside.grid
    rows = (g.y_mm >= 0.0) & (g.y_mm <= thickness_mm + CLEAR_ABOVE_MM)
    top = outside.heights_mm[rows].max(axis=0)
    x = g.x_mm
    lie = np.zeros(len(x)) if standing is None else standing.at(x)
    low = min(float(lie.min()), 0.0) - 1.0
    cover = [box(x[0], low, x[0], low)]
    up = top > lie
    edges = np.flatnonzero(np.diff(np.concatenate([[0], up.astype(int), [0]])))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        xs, zs = x[a:b], top[a:b]
        h = g.pitch_mm
        points = [(xs[0] - h, low), *zip(xs, zs, strict=True), (xs[-1] + h, low)]
        cover.append(Polygon(points).buffer(0))
    return shapely.union_all(cover)


def foot(
    outside: Envelope,
    *,
    width_mm: float,
    thickness_mm: float,
    bolt_mm: float,
    washer_mm: float,
    flange_mm: float,
    pitch_mm: float,
    pin_mm: float | None,
    pin_share: float,
    standing: Standing | None = None,
) -> Foot:
    """The base flange of one piece.

    width_mm : wall to edge; bolt_mm : wall to bolt axis; washer_mm : washer diameter; flange_mm : thickness of the
    parting flange that the washers must clear; pin_mm : diameter of the locating pin; pin_share : where along the row
    it stands; standing : how the parting runs along the board, where it is not flat.
    """
    wall = wall_plan(outside, thickness_mm, standing)
    rounding = washer_mm
    plan = grown(wall, width_mm, rounding)
    while len(polygons(plan)) > 1:
        rounding *= 1.6
        plan = grown(wall, width_mm, rounding)
    whole = polygons(plan)[0]
    base_mm = 0.0 if standing is None else min(float(standing.lie_mm.min()), 0.0)
    reach = _graph(whole, outside.grid.pitch_mm, base_mm)
    low = flange_mm + washer_mm / 2 + 1.5
    line = grown(wall, bolt_mm, rounding)
    x0, _, x1, z1 = line.bounds
    room = box(x0 - 1, low, x1 + 1, max(z1, low) + 1)
    if standing is not None:
        room = standing.free(washer_mm / 2 + 1.5, z1)
    rows: list[FloatArray] = []
    for p in polygons(line):
        ring = LineString(_graph(p, outside.grid.pitch_mm, base_mm))
        cut = ring.intersection(room)
        cut = shapely.line_merge(cut) if cut.geom_type == "MultiLineString" else cut
        rows += [
            np.asarray(q.coords) for q in getattr(cut, "geoms", [cut]) if q.geom_type == "LineString" and q.length > 0
        ]
    spots: list[FloatArray] = []
    pin: FloatArray | None = None
    for row in sorted(rows, key=lambda r: -length(r)):
        s = equal_pitch(row, False, pitch_mm, washer_mm + 2.0, 2)
        spots.extend(along(row, s))
        if pin is None and pin_mm is not None and len(s) > 1 and s[1] - s[0] > washer_mm + pin_mm + 4.0:
            k = min(int(pin_share * (len(s) - 1)), len(s) - 2)
            pin = along(row, np.array([0.5 * (s[k] + s[k + 1])]))[0]
    if not spots:  # a wall so low that no row clears the parting flange: one bolt on its crown
        crown = max(np.asarray(whole.exterior.coords), key=lambda c: (c[1], -abs(c[0])))
        if standing is not None:
            near = np.abs(standing.x_mm - crown[0]) <= washer_mm / 2 + 1.5
            low = float(standing.clear_mm[near].max()) + washer_mm / 2 + 1.5
        reach = tuple((x, max(z, low + washer_mm / 2 + 2.0)) for x, z in reach)
        spots = [np.array([crown[0], low])]
    outline = Polygon([(reach[0][0], base_mm), *reach, (reach[-1][0], base_mm)]).buffer(0)
    if standing is not None:
        foot_line = [(standing.x_mm[0], base_mm - 1.0), *zip(standing.x_mm, standing.lie_mm, strict=True)]
        below = Polygon([*foot_line, (standing.x_mm[-1], base_mm - 1.0)])
        outline = max(polygons(outline.difference(below)), key=lambda q: q.area)
    if standing is not None and standing.stepped_mm is not None:
        reach = _ended_over(reach, standing.x_mm, standing.stepped_mm + LEAST_SIDE_MM)
    bolts = np.array(spots)
    return Foot(BaseFlange(reach, thickness_mm), bolts[apart(bolts, washer_mm + 2.0)], pin, outline)


def _graph(region: Polygon, step_mm: float, base_mm: float) -> tuple[tuple[float, float], ...]:
    """The region's upper edge as a graph z(x), z >= base_mm: what lies under it along the pull is filled."""
    x0, _, x1, z1 = region.bounds
    n = max(int((x1 - x0) / max(step_mm, (x1 - x0) / 400)), 8)
    # cosine spacing resolves the steep ends
    xs = 0.5 * (x0 + x1) - 0.5 * (x1 - x0) * np.cos(np.linspace(0, np.pi, n + 1))
    out = []
    for x in xs:
        cut = region.intersection(LineString([(x, base_mm - 2.0), (x, z1 + 1)]))
        out.append((float(x), max(float(cut.bounds[3]), base_mm) if not cut.is_empty else base_mm))
    line = LineString(out).simplify(0.02)
    return tuple((float(x), float(z)) for x, z in line.coords)


def _ended_over(
    reach: tuple[tuple[float, float], ...], x_mm: FloatArray, least_mm: FloatArray
) -> tuple[tuple[float, float], ...]:
    """The widest part of a graph z(x) that lies over another one."""
    points = np.asarray(reach)
    x = np.unique(np.concatenate([points[:, 0], x_mm[(x_mm > points[0, 0]) & (x_mm < points[-1, 0])]]))
    z = np.interp(x, points[:, 0], points[:, 1])
    over = z - np.interp(x, x_mm, least_mm)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (over >= 0).astype(int), [0]])))
    if not len(edges):
        return reach
    a, b = max(zip(edges[::2], edges[1::2] - 1, strict=True), key=lambda e: float(x[e[1]] - x[e[0]]))
    ends = []
    for inner, outer in ((a, a - 1), (b, b + 1)):
        t = 0.0
        if 0 <= outer < len(x):
            t = float(over[inner] / (over[inner] - over[outer]))
        ends.append(float(x[inner] + t * (x[min(max(outer, 0), len(x) - 1)] - x[inner])))
    kept = points[(points[:, 0] > ends[0]) & (points[:, 0] < ends[1])]
    rims = [(e, float(np.interp(e, points[:, 0], points[:, 1]))) for e in ends]
    return (rims[0], *((float(px), float(pz)) for px, pz in kept), rims[1])


def board_hole(at: FloatArray, radius_mm: float, thickness_mm: float, role: Role) -> Feature:
    """A hole through the base flange, along y."""
    base = (float(at[0]), -1.0, float(at[1]))
    return Feature(
        role, Frustum(base, (0.0, 1.0, 0.0), thickness_mm + 2.0, radius_mm, radius_mm), add=False, through=True
    )
