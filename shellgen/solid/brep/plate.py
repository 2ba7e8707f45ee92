"""The prismatic part of a piece, and flat parts whole: outline, base flange and features by ordinary booleans."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from shellgen.errors import KernelError
from shellgen.solid.brep.failing import in_words
from shellgen.solid.brep.occ import explored
from shellgen.solid.brep.shapes import feature_solid, fused, less, outline_solid, prism_solid, unified
from shellgen.solid.brep.smooth_ring import ALONE_MM
from shellgen.solid.recipe import BaseFlange, Feature, Frustum, Outline, PieceRecipe, PlateRecipe, Prism, Ring, Role

OFF_BOARD_MM = 0.03
SIDE_MM = 2 * ALONE_MM  # an upright side drawn so long is a piece of its ring whatever it meets
LEFT_OUT = (Role.LABEL,)  # letters cost hundreds of faces


def plate_body(recipe: PieceRecipe, features: tuple[Feature, ...]) -> Any:
    """Flange and base flange of a piece between their planes, with its features; the wall is not there yet."""
    what = f"shell piece {recipe.name}"
    outlines = (recipe.outline, *recipe.apart)
    if recipe.on_board:
        outlines = tuple(squared(o) for o in outlines)
    parts = [outline_solid(o, 0.0, o.thickness_mm) for o in outlines]
    if recipe.base is not None:
        parts.append(_base_solid(recipe.base, what))
    feet = tuple(_standing(f, 0.5 * recipe.outline.thickness_mm, what) for f in features if f.body)
    body = with_features(parts, (*feet, *(f for f in features if not f.body)), what)
    return unified(body) if feet else body  # they may be flush with the flange's side


def _base_solid(base: BaseFlange, what: str) -> Any:
    """The base flange, from the parting up; where its reach ends above that, in an upright side of its own."""
    reach = base.reach
    upright = min(reach[0][1], reach[-1][1]) > 0.0
    low = -SIDE_MM if upright else 0.0
    ring = ((reach[0][0], low), (reach[-1][0], low), *(p for p in reach[::-1] if p[1] > 0.0))
    whole = along_board(ring, base.thickness_mm)
    if not upright:
        return whole
    x0, x1 = reach[0][0] - 1.0, reach[-1][0] + 1.0
    under = along_board(((x0, low - 1.0), (x1, low - 1.0), (x1, 0.0), (x0, 0.0)), base.thickness_mm)
    return less(whole, [under], what)


def along_board(ring: Ring, thickness_mm: float) -> Any:
    """A polygon (x, z) on the board, so thick."""
    # drawn in the plane y = 0 with axes (z, x): their cross product is +y
    axes = ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
    return prism_solid(Prism(tuple((z, x) for x, z in ring), (), (0.0, 0.0, 0.0), *axes, thickness_mm))


def squared(outline: Outline) -> Outline:
    """An outline whose lowest points, off the board by what simplifying outlines may take, stand on it exactly."""
    rings = [tuple((x, 0.0 if y < OFF_BOARD_MM else y) for x, y in ring) for ring in (outline.outer, *outline.holes)]
    return replace(outline, outer=rings[0], holes=tuple(rings[1:]))


def _standing(feature: Feature, within_mm: float, what: str) -> Feature:
    """A foot on the flange, not begun under the parting: a bar, flush with its side, at it, a post within the flange.

    Raises KernelError for other shapes.
    """
    shape = feature.shape
    if feature.add and isinstance(shape, Prism) and shape.x_axis == (1.0, 0.0, 0.0) and shape.y_axis == (0.0, 1.0, 0.0):
        x, y, z = shape.origin
        return replace(feature, shape=replace(shape, origin=(x, y, 0.0), length_mm=shape.length_mm + z))
    if feature.add and isinstance(shape, Frustum) and shape.axis == (0.0, 0.0, 1.0) and shape.r0_mm == shape.r1_mm:
        x, y, z = shape.base
        length = shape.length_mm + z - within_mm
        return replace(feature, shape=replace(shape, base=(x, y, within_mm), length_mm=length))
    raise KernelError(
        f"{what}: a {feature.role.value} at {_place(feature)} does not stand on the flange along the pull"
    )


def _place(feature: Feature) -> str:
    shape = feature.shape
    x, y, z = shape.origin if isinstance(shape, Prism) else shape.base
    return f"({x:.1f}, {y:.1f}, {z:.1f})"


def with_features(body: list[Any], features: tuple[Feature, ...], what: str) -> Any:
    """The bodies united, with features added and cut, in order; runs of the same kind go in one step."""
    run: list[Any] = []
    done: Any = None
    adding = True
    for feature in (*_additions_first(features), None):
        if (run or done is None) and (feature is None or feature.add != adding):
            done = fused([*(body if done is None else [done]), *run], what) if adding else less(done, run, what)
            run = []
        if feature is not None:
            adding = feature.add
            run.append(feature_solid(feature.shape))
    return done


def _additions_first(features: tuple[Feature, ...]) -> list[Feature]:
    """The features in an order of fewer steps that gives the same solid: additions before cuts they do not touch."""
    out: list[tuple[Feature, Any]] = []
    for feature in features:
        box, k = _box(feature), len(out)
        while feature.add and k > 0 and not out[k - 1][0].add and box.IsOut(out[k - 1][1]):
            k -= 1
        out.insert(k, (feature, box))
    return [f for f, _ in out]


def _box(feature: Feature) -> Any:
    """The box round a feature."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    box = Bnd_Box()
    BRepBndLib.Add_s(feature_solid(feature.shape), box)
    return box


@in_words()
def plate_brep(recipe: PlateRecipe) -> Any:
    """A flat part as a solid in its own frame, labels left out. Raises KernelError if its features fall apart."""
    from OCP.BRepCheck import BRepCheck_Analyzer

    kept = tuple(f for f in recipe.features if f.role not in LEFT_OUT)
    what = f"flat part {recipe.name}"
    solid = with_features([outline_solid(recipe.outline, 0.0, recipe.outline.thickness_mm)], kept, what)
    solids = explored(solid, "solid")
    if len(solids) != 1:
        raise KernelError(f"{what}: it came out in {len(solids)} pieces")
    if not BRepCheck_Analyzer(solids[0]).IsValid():
        raise KernelError(f"{what}: its solid is not valid")
    return solids[0]
