"""Everything of a piece that is fitted, before OCC is asked for anything: skins, trims, a stepped flange."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.parting.surface import SteppedParting
from shellgen.solid.brep.graph import Graph, PlaneGraph
from shellgen.solid.brep.land import Land, stepped_land
from shellgen.solid.brep.planes_graph import planes_of
from shellgen.solid.brep.traced_skin import MESH_MM, FittedSkin, fitted_pair
from shellgen.solid.recipe import PieceRecipe


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """Fitted skins of a piece; what inside and outside are trimmed at; the faces of its flange where it is stepped."""

    skins: tuple[FittedSkin, FittedSkin]
    trims: tuple[Graph, Graph]
    land: Land | None


def fitted_piece(recipe: PieceRecipe, tolerance_mm: float, mesh_mm: float = MESH_MM) -> Fitted:
    """Fit a piece. mesh_mm : the tolerance of its mesh, whose volume it is to have.

    Raises KernelError where nothing is to be fitted.
    """
    stepped = isinstance(recipe.parting, SteppedParting)
    land = stepped_land(recipe, tolerance_mm) if stepped else None
    trims = _trims(recipe, land)
    inside_y = 0.0 if recipe.on_board else None
    outside_y = recipe.base.thickness_mm if recipe.base is not None else inside_y
    skins = fitted_pair(
        (recipe.inside, recipe.outside), trims, (inside_y, outside_y), tolerance_mm, _origin(recipe), mesh_mm
    )
    return Fitted(skins, trims, land)


def _origin(recipe: PieceRecipe) -> tuple[float, float, float]:
    """Coordinates of the mold frame's origin along axes that are also the mold frame's, 0 along others.

    Poles counted from there have short coordinates in files, which are in the mold frame.
    """
    frame = recipe.pull_to_mold
    way = np.where(np.abs(frame[:3, :3]) > 1 - 1e-12, frame[:3, :3], 0.0)
    x, y, z = (-frame[:3, 3] @ way).tolist()
    return (x, y, z)


def _trims(recipe: PieceRecipe, land: Land | None) -> tuple[Graph, Graph]:
    """What inside and outside are trimmed at."""
    if land is not None:
        return land.mating, land.top
    if recipe.parting.flat:
        return PlaneGraph(0.0), PlaneGraph(recipe.outline.thickness_mm)
    return planes_of(recipe)
