"""The prismatic part of a radial piece: a plate on each of its two mating planes, its sides along the pull."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from shellgen.errors import KernelError
from shellgen.mold.flange import polygons
from shellgen.parting.surface import ValleyParting
from shellgen.solid.brep.graph import ValleyGraph
from shellgen.solid.brep.plate import squared, with_features
from shellgen.solid.brep.shapes import leaning_slab, prism_solid
from shellgen.solid.recipe import Feature, PieceRecipe, Prism

FAR_MM = 1e4


def valley_of(recipe: PieceRecipe) -> tuple[ValleyGraph, ValleyGraph]:
    """Mating faces and outer faces of a radial piece's flange. Raises KernelError for other partings."""
    parting = recipe.parting
    if not isinstance(parting, ValleyParting):
        raise KernelError(f"shell piece {recipe.name}: its parting is no valley")
    slopes = (parting.slope, parting.slope)
    rise = recipe.outline.thickness_mm * float(np.hypot(1.0, parting.slope))
    return ValleyGraph(0.0, slopes), ValleyGraph(rise, slopes)


def wedge_body(recipe: PieceRecipe, features: tuple[Feature, ...]) -> Any:
    """Both plates and the base flange of a radial piece, with its features; the wall is not there yet.

    Raises KernelError for a feature that would have to be trimmed at the parting.
    """
    what = f"shell piece {recipe.name}"
    for f in features:
        if f.body:
            raise KernelError(f"{what}: a {f.role.value} on leaning plates is not written as STEP")
    low, high = valley_of(recipe)
    outlines = (recipe.outline, *recipe.apart)
    if recipe.on_board:
        outlines = tuple(squared(o) for o in outlines)
    parts: list[Any] = []
    for sign in (1.0, -1.0):
        half = box(0.0, -FAR_MM, FAR_MM, FAR_MM) if sign > 0 else box(-FAR_MM, -FAR_MM, 0.0, FAR_MM)
        for o in outlines:
            for p in polygons(shapely.Polygon(o.outer, o.holes).intersection(half)):
                parts.append(leaning_slab(p, low.side(sign).a, high.c_mm))
    if recipe.base is not None:
        ring = np.asarray(_foot(recipe, low).exterior.coords)[:-1]
        # drawn in the plane y = 0 with axes (z, x): their cross product is +y
        flat = tuple((float(z), float(x)) for x, z in ring)
        axes = ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
        parts.append(prism_solid(Prism(flat, (), (0.0, 0.0, 0.0), *axes, recipe.base.thickness_mm)))
    return with_features(parts, tuple(replace(f) for f in features), what)


def _foot(recipe: PieceRecipe, low: ValleyGraph) -> Polygon:
    """The base flange in the board's plan (x, z): what lies under its reach and over both mating planes."""
    assert recipe.base is not None
    reach = recipe.base.reach
    whole = Polygon([(reach[0][0], 0.0), *reach, (reach[-1][0], 0.0)]).buffer(0)
    x = FAR_MM
    below = Polygon([(-x, -1.0), (-x, x * low.slopes[1]), (0.0, 0.0), (x, x * low.slopes[0]), (x, -1.0)])
    return max(polygons(whole.difference(below)), key=lambda p: p.area)
