"""Gussets: small right-angled webs between wall and flange, midway between neighbouring bolts.

A web is as thick as the wall, as wide as the flange and as high as the flange is wide; the joint's stiffness counts on
that. It stands on the flange and runs into the wall; what would reach into the jacket's room is cut with the room.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as PlanPoint
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from shellgen.envelope.raster import FloatArray
from shellgen.mold.flange import FlangePlan
from shellgen.solid.recipe import Feature, Frustum, PieceRecipe, Prism, Role

SPANNER_MM = 1.0  # beyond a washer that stays free of webs
EDGE_MM = 1.0  # between a web's tip and the flange's edge
INTO_WALL_MM = 2.0  # how far a web runs on where its top has met the wall
SUNK_MM = 0.5  # the tip runs on this deep into the flange, so that no edge lies in the flange's face
STEP_MM = 0.5  # between trial places for the inner end
RUNS_ON_MM = 3.0  # a back that meets the wall within that behind the foot needs no level top
ROWS, ACROSS = 13, 5  # heights and places across a web that are tried
NARROWEST, WIDEST = 0.8, 1.5  # of the flange along a web, over its nominal width
DEEPEST = 1.5  # how far the wall may lean back by the top of a web, over the width
REACH_MM = 25.0  # along a bolt's axis from its flange, in which a spanner turns it


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """What webs of one mating face stand on and lean against, in that face's frame (z = 0 at the parting).

    wall_mm, width_mm : thickness of the wall and width of the flange. low_mm : lowest place of the parting.
    face : height of the flange's outer face at points (n, 2). solid : whether points (n, 3) lie in or under the wall.
    keep_off : plan region that webs leave free. axes_mm : (n, 3) points on the axes of other bolts of the piece, over
    their flanges; their washers are washer_mm wide.
    """

    plan: FlangePlan
    wall_mm: float
    width_mm: float
    low_mm: float
    face: Callable[[FloatArray], FloatArray]
    solid: Callable[[FloatArray], npt.NDArray[np.bool_]]
    keep_off: BaseGeometry
    washer_mm: float
    axes_mm: FloatArray


def gussets(stand: Stand, middles: FloatArray) -> tuple[Feature, ...]:
    """A web at each place (n, 2) midway between bolts; left out where it has no room or no wall to lean against."""
    out: list[Feature] = []
    taken: list[BaseGeometry] = [stand.keep_off]
    for middle in middles:
        feature = _web(stand, np.asarray(middle, float))
        if feature is None:
            continue
        plan = web_plan(feature)
        if any(plan.distance(t) < SPANNER_MM for t in taken[1:]) or plan.intersects(stand.keep_off):
            continue
        taken.append(plan)
        out.append(feature)
    return tuple(out)


def _web(stand: Stand, middle: FloatArray) -> Feature | None:
    """The web through one place, square to the nearest wall; None where the flange or the wall does not suit."""
    foot = np.asarray(nearest_points(stand.plan.section, PlanPoint(middle))[0].coords[0])
    way = middle - foot
    size = float(np.hypot(*way))
    if size < 1e-6:
        return None
    way = way / size
    aside = np.array([-way[1], way[0]])
    ray = LineString([foot + 0.01 * way, foot + 3 * stand.width_mm * way])
    edge = ray.intersection(stand.plan.outline.boundary)
    far = 3 * stand.width_mm if edge.is_empty else PlanPoint(foot).distance(edge)
    if far < NARROWEST * stand.width_mm:
        return None
    reach = min(far, WIDEST * stand.width_mm) - EDGE_MM
    half = 0.5 * stand.wall_mm
    base = _strip(foot, way, aside, 0.0, reach, half)
    if not stand.plan.outline.buffer(-0.5 * EDGE_MM).buffer(0.01).contains(base):
        return None
    if _strip(foot, way, aside, half, reach, half).intersects(stand.plan.section):
        return None
    end = foot + reach * way + np.outer((0.0, -half, half), aside)
    tip = float(stand.face(np.concatenate([end, end + EDGE_MM * way])).min())
    high = float(stand.face(np.array([foot, end[0]])).max()) + stand.width_mm
    inner = _inner_end(stand, foot, way, half * aside, reach, high)
    if inner is None or _in_a_spanner(stand, base, high):
        return None
    low = stand.low_mm - 1.0
    run_on = SUNK_MM * reach / (high - tip)
    corners = [(-inner, low), (reach + run_on, low), (reach + run_on, tip - SUNK_MM)]
    steep = (high - tip) / reach
    if _back_runs_on(stand, foot, way, half * aside, inner, (high, steep)):
        corners.append((-inner, high + steep * inner))
    else:
        corners += [(0.0, high), (-inner, high)]
    start = foot + half * aside
    # drawn upright with axes (way, z): their cross product is -aside
    shape = Prism(
        tuple(corners),
        (),
        (float(start[0]), float(start[1]), 0.0),
        (float(way[0]), float(way[1]), 0.0),
        (0.0, 0.0, 1.0),
        stand.wall_mm,
    )
    return Feature(Role.GUSSET, shape, add=True, body=True)


def _strip(foot: FloatArray, way: FloatArray, aside: FloatArray, a: float, b: float, half: float) -> Polygon:
    """The plan strip from a to b along the way."""
    return Polygon([foot + r * way + s * half * aside for r, s in ((a, -1), (b, -1), (b, 1), (a, 1))])


def _inner_end(
    stand: Stand, foot: FloatArray, way: FloatArray, side: FloatArray, reach_mm: float, high_mm: float
) -> float | None:
    """How far into the wall a web must run; None where the wall is too low, leans too far, or is met twice.

    At each height the web stands free out to its back and in the wall from there inwards: so it closes no hollow.
    """
    low = high_mm - stand.width_mm
    r = np.arange(-reach_mm, DEEPEST * stand.width_mm + STEP_MM, STEP_MM)
    h = np.linspace(low + STEP_MM, high_mm, ROWS)
    s = np.linspace(-1.0, 1.0, ACROSS)
    plan = foot - r[:, None, None, None] * way + s[:, None] * side  # (r, 1, s, 2)
    at = np.concatenate(
        [
            np.broadcast_to(plan, (len(r), ROWS, ACROSS, 2)),
            np.broadcast_to(h[:, None, None], (len(r), ROWS, ACROSS, 1)),
        ],
        axis=-1,
    )
    met = stand.solid(at.reshape(-1, 3)).reshape(len(r), -1)
    within = r[:, None] >= np.repeat(-reach_mm * (high_mm - h) / stand.width_mm, ACROSS)  # behind the web's own back
    deep = np.flatnonzero(np.all(met, axis=1) & (r >= 0.0))
    if not len(deep):
        return None
    end = min(int(deep[0] + INTO_WALL_MM / STEP_MM), len(r) - 1)
    entered = np.maximum.accumulate(met & within, axis=0)[: end + 1]
    if bool((entered & ~met[: end + 1]).any()):
        return None
    return float(r[deep[0]]) + INTO_WALL_MM


def _back_runs_on(
    stand: Stand, foot: FloatArray, way: FloatArray, side: FloatArray, inner_mm: float, back: tuple[float, float]
) -> bool:
    """Whether a web's back may run straight on into the wall, which saves it a level top: the wall is near.

    back : its height at the foot and how steep it is.
    """
    r = np.arange(0.0, inner_mm + STEP_MM, STEP_MM)
    rows = [np.column_stack([foot - r[:, None] * way + s * side, back[0] + back[1] * r]) for s in (-1.0, 0.0, 1.0)]
    met = np.all([stand.solid(row) for row in rows], axis=0)
    return bool(met[r >= RUNS_ON_MM].all()) and inner_mm > RUNS_ON_MM


def _in_a_spanner(stand: Stand, base: Polygon, high_mm: float) -> bool:
    """Whether a web would stand in a spanner's way at a bolt of another face or of the base flange."""
    near = stand.washer_mm / 2 + SPANNER_MM
    low = stand.axes_mm[stand.axes_mm[:, 2] < high_mm + near]
    return bool(len(low)) and bool((shapely.distance(base, shapely.points(low[:, :2])) < near).any())


def axes_over(bases_mm: FloatArray, way: FloatArray) -> FloatArray:
    """Points on bolt axes through bases (n, 3) on a flange's outer face, as far as a spanner reaches, (m, 3)."""
    steps = np.arange(0.0, REACH_MM, 2.0)
    return (bases_mm[:, None] + steps[None, :, None] * way).reshape(-1, 3)


def board_axes(bolts: FloatArray, thickness_mm: float) -> FloatArray:
    """Points on the axes of bolts (n, 2) at (x, z) over a base flange, in the pull frame."""
    bases = np.column_stack([bolts[:, 0], np.full(len(bolts), thickness_mm), bolts[:, 1]])
    return axes_over(bases, np.array([0.0, 1.0, 0.0]))


def keep_off(bolts: FloatArray, washer_mm: float, features: Sequence[Feature]) -> BaseGeometry:
    """Plan region that webs leave free: a spanner's room about bolts (n, 2), feet and the port."""
    discs: list[BaseGeometry] = [PlanPoint(p).buffer(washer_mm / 2 + SPANNER_MM) for p in bolts]
    for f in features:
        if f.role not in (Role.FOOT, Role.PORT):
            continue
        if isinstance(f.shape, Prism):
            ring = np.array(f.shape.outer)
            axes = np.array([f.shape.x_axis[:2], f.shape.y_axis[:2]])
            discs.append(shapely.MultiPoint(ring @ axes + np.array(f.shape.origin[:2])).convex_hull)
        elif isinstance(f.shape, Frustum):
            discs.append(PlanPoint(f.shape.base[:2]).buffer(max(f.shape.r0_mm, f.shape.r1_mm)))
    return shapely.union_all(discs)


def free_corners(web: Prism) -> FloatArray:
    """Corners (n, 3) of what a web shows at most: from its tip back to its foot, on both sides."""
    (_, low), (end, _), (_, tip), (corner, high), *_ = web.outer
    top = tip + (high - tip) * end / (end - corner)  # over the foot
    way, up = np.array(web.x_axis), np.array(web.y_axis)
    points = np.array(web.origin) + np.array([(0.0, low), (end, low), (end, tip), (0.0, top)]) @ np.array([way, up])
    return np.concatenate([points, points + web.length_mm * np.cross(way, up)])


def web_plan(feature: Feature) -> Polygon:
    """The plan that a web covers on its flange."""
    shape = feature.shape
    if not isinstance(shape, Prism):
        return Polygon()
    way = np.array(shape.x_axis[:2])
    push = shape.length_mm * shape.up[:2]
    start = np.array(shape.origin[:2])
    r0, r1 = (m(c[0] for c in shape.outer) for m in (min, max))
    return Polygon([start + r0 * way, start + r1 * way, start + r1 * way + push, start + r0 * way + push])


def between(middles: FloatArray, tangents: FloatArray, bolts: FloatArray, taken_mm: float) -> FloatArray:
    """Places for marks on both sides of each middle (n, 2): midway between a web and a bolt; shape (2 n, 2).

    taken_mm : what web and bolt take of the way from middle to bolt, web less bolt.
    """
    gap = np.hypot(middles[:, None, 0] - bolts[None, :, 0], middles[:, None, 1] - bolts[None, :, 1]).min(axis=1)
    shift = (0.5 * (gap + taken_mm))[:, None] * tangents
    return np.concatenate([middles + shift, middles - shift])


def standing_mm3(recipe: PieceRecipe, numbers: Collection[int] | None = None) -> float:
    """Volume of webs above a piece's flange and outside its wall, where the parting is flat or stepped [mm3].

    numbers : of those features that count; by default all do.
    """
    kept = [f for k, f in enumerate(recipe.features) if numbers is None or k in numbers]
    webs = [f.shape for f in kept if f.role is Role.GUSSET and isinstance(f.shape, Prism)]
    top, flange_mm = recipe.flange_top, recipe.outline.thickness_mm

    def under(at: FloatArray) -> FloatArray:
        x, y = at[..., 0], at[..., 1]
        return np.maximum(recipe.outside.at(x, y), flange_mm if top is None else top.at(x, y))

    return sum(_over_mm3(w, under) for w in webs)


def _over_mm3(web: Prism, under: Callable[[FloatArray], FloatArray]) -> float:
    """A web's volume over flange and wall, summed over a raster of 0.1 mm. under : their height at points (..., 2)."""
    x, y = np.asarray(web.x_axis), np.asarray(web.y_axis)
    push = np.cross(x, y)[:2]
    profile = np.array(web.outer)[1:]  # from the tip up to the inner end
    n = max(int(np.ptp(profile[:, 0]) / 0.1), 1)
    m = max(int(web.length_mm / 0.1), 1)
    r = profile[-1, 0] + np.ptp(profile[:, 0]) * (np.arange(n) + 0.5) / n
    top = np.interp(r, profile[:0:-1, 0], profile[:0:-1, 1])
    s = web.length_mm * (np.arange(m) + 0.5) / m
    at = np.asarray(web.origin[:2]) + r[:, None, None] * x[:2] + s[None, :, None] * push
    return float(np.maximum(top[:, None] - under(at), 0.0).mean() * np.ptp(profile[:, 0]) * web.length_mm)


def gusset_note(pieces: Sequence[PieceRecipe], gaps: Sequence[int]) -> str:
    """How many gaps between bolts got a web on each piece, in words."""
    counts = [sum(f.role is Role.GUSSET for f in p.features) for p in pieces]
    told = ", ".join(f"{p.name} {n} of {g}" for p, n, g in zip(pieces, counts, gaps, strict=True))
    if not any(counts):
        return f"{told} gaps between bolts have a gusset: flange.gussets does nothing here."
    missing = " The rest have no room for a spanner or no wall to lean on." if sum(counts) < sum(gaps) else ""
    return f"Gaps between bolts with a gusset: {told}.{missing}"
