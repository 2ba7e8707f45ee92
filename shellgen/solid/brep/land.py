"""Mating and outer face of a stepped flange as splines: one for both mating faces, turned over for the second."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.spline_fit import FitReport, fit_target
from shellgen.envelope.spline_fit_graph import POLE_DIGITS, SplineGraph
from shellgen.envelope.spline_fit_target import Target, field_target
from shellgen.errors import KernelError
from shellgen.parting.surface import SteppedParting
from shellgen.solid.recipe import Frustum, PieceRecipe, Ring, Role

AROUND_MM = 1.5  # how far beyond the flange's outline its faces are fitted
PROUD_MM = 0.25  # by which the outer face stands over a seat before it is spot-faced
RIM_MM = 0.7  # and how far beyond the seat
MOST_MM = 0.05  # by which the outer face is moved to even out volumes
PLACE_DIGITS = 6

Plan = tuple[Ring, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Land:
    """The two faces of a stepped flange in a piece's pull frame, and how well the mating face was fitted."""

    mating: SplineGraph
    top: SplineGraph
    report: FitReport


def stepped_land(recipe: PieceRecipe, tolerance_mm: float) -> Land:
    """Fit the faces of a stepped flange. Raises KernelError for a flange without an outer face."""
    parting = recipe.parting
    if not isinstance(parting, SteppedParting) or recipe.flange_top is None:
        raise KernelError(f"shell piece {recipe.name}: its parting is not stepped")
    shared, report = _shared(parting.surface, _plan(recipe, parting.over), tolerance_mm)
    mating = turned_over(shared) if parting.over else shared
    top, _ = fit_target(_over_seats(recipe, recipe.flange_top), tolerance_mm)
    return Land(mating, _evened(top, mating, recipe, recipe.flange_top), report)


def mating_target(recipe: PieceRecipe) -> Target:
    """What the mating face of a stepped piece is to meet, in the first half's frame."""
    assert isinstance(recipe.parting, SteppedParting)
    return _target(recipe.parting.surface, _plan(recipe, recipe.parting.over))


def turned_over(graph: SplineGraph) -> SplineGraph:
    """The same surface in the other half's frame: x and z change their signs."""
    return SplineGraph(-graph.knots_x[::-1], graph.knots_y, -graph.poles_mm[::-1])


def _plan(recipe: PieceRecipe, over: bool) -> Plan:
    """Rings of a piece's flange in the first half's frame, the same to the bit for both halves."""
    sign = -1.0 if over else 1.0
    rings = [r for o in (recipe.outline, *recipe.apart) for r in (o.outer, *o.holes)]
    polygons = [shapely.Polygon(np.round(np.asarray(r) * (sign, 1.0), PLACE_DIGITS) + 0.0) for r in rings]
    return tuple(sorted(tuple(p.normalize().exterior.coords) for p in polygons))


@lru_cache(maxsize=2)
def _shared(surface: Envelope, plan: Plan, tolerance_mm: float) -> tuple[SplineGraph, FitReport]:
    """The one fit of a stepped surface: the same object, the same spline."""
    return fit_target(_target(surface, plan), tolerance_mm)


def _target(surface: Envelope, plan: Plan) -> Target:
    region = shapely.Polygon()
    for ring in plan:
        region = region.symmetric_difference(shapely.Polygon(ring))
    region = region.buffer(AROUND_MM)
    shapely.prepare(region)
    x, y = np.meshgrid(surface.grid.x_mm, surface.grid.y_mm)
    return field_target(surface.grid, surface.heights_mm, shapely.contains_xy(region, x, y))


def _evened(top: SplineGraph, mating: SplineGraph, recipe: PieceRecipe, asked: Envelope) -> SplineGraph:
    """The outer face moved by hundredths, so that the flange has its volume: it stands proud round the seats."""
    region = shapely.union_all([shapely.Polygon(o.outer, o.holes) for o in (recipe.outline, *recipe.apart)])
    seats = [f.shape for f in recipe.features if f.role is Role.SEAT and isinstance(f.shape, Frustum)]
    region = region.difference(shapely.union_all([shapely.Point(s.base[:2]).buffer(s.r0_mm) for s in seats]))
    shapely.prepare(region)
    x, y = (a.ravel() for a in np.meshgrid(asked.grid.x_mm, asked.grid.y_mm))
    here = shapely.contains_xy(region, x, y) & (recipe.outside.at(x, y) < asked.heights_mm.ravel())
    more = top.at(x[here], y[here]) - asked.heights_mm.ravel()[here]
    less = mating.at(x[here], y[here]) - recipe.parting.at(x[here], y[here])
    by = float(np.clip(np.mean(less - more), -MOST_MM, MOST_MM)) if here.any() else 0.0
    return SplineGraph(top.knots_x, top.knots_y, top.poles_mm + np.round(by, POLE_DIGITS))


def _over_seats(recipe: PieceRecipe, top: Envelope) -> Target:
    """The outer face, standing proud of its spot-faced seats."""
    x, y = np.meshgrid(top.grid.x_mm, top.grid.y_mm)
    heights: FloatArray = top.heights_mm.copy()
    for seat in (f.shape for f in recipe.features if f.role is Role.SEAT and isinstance(f.shape, Frustum)):
        near = np.hypot(x - seat.base[0], y - seat.base[1]) <= seat.r0_mm + RIM_MM
        heights[near] = np.maximum(heights[near], seat.base[2] + PROUD_MM)
    return _target(top.with_heights(heights), _plan(recipe, False))
