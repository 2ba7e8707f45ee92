"""Engraved labels on a flat flange, where a piece can afford their faces."""

from __future__ import annotations

from typing import Any

from shellgen.solid.brep.occ import explored
from shellgen.solid.brep.shapes import feature_solid, less
from shellgen.solid.recipe import PieceRecipe, Role

FACES_MAX = 100  # of a piece with labels
SKINS, WEB = 6, 4  # faces that a plate has not: two skins and what a port adds; those of a gusset


def engraved(body: Any, recipe: PieceRecipe, what: str) -> Any | None:
    """A flat piece's plate with all its labels cut into it; None where it has none or would have too many faces."""
    labels = [f.shape for f in recipe.features if f.role is Role.LABEL]
    if not labels or not recipe.parting.flat:
        return None
    tools = [feature_solid(shape) for shape in labels]
    webs = sum(f.role is Role.GUSSET for f in recipe.features)
    # of each letter's faces all but its top become the piece's
    more = sum(len(explored(t, "face")) - 1 for t in tools)
    if len(explored(body, "face")) + SKINS + WEB * webs + more > FACES_MAX:
        return None
    return less(body, tools, what)
