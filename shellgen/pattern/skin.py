"""The pattern's own skin: a closed solid from whatever triangles the file holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shellgen.errors import PatternError
from shellgen.pattern.bodies import Solid, loose_bodies_united, solid_from, triangles_of
from shellgen.pattern.pattern import FloatArray, IntArray, Skin
from shellgen.pattern.topology import part_sums, split_fans, topology
from shellgen.pattern.weld import compact

Method = Literal["as it is", "holes capped", "outer skin"]


@dataclass(frozen=True, slots=True, eq=False)
class Closed:
    """A mesh and the solid it stands for. faces : turned outward where that is known."""

    vertices: FloatArray
    faces: IntArray
    solid: Solid
    method: Method
    error_mm: float
    notes: tuple[str, ...]


def closed_skin(vertices: FloatArray, faces: IntArray, source: str) -> Closed:
    """Find the closed solid of a welded mesh."""
    top = topology(vertices, faces)
    sums = part_sums(vertices, top.faces, top.part, top.parts)
    if (top.twins < 0).any() or top.conflict.any():
        raise PatternError(f"{source}: the mesh is not closed.")
    turn = (sums[:, 0] < 0)[top.part]
    outward = top.faces.copy()
    outward[turn] = outward[turn][:, [0, 2, 1]]
    good = (sums[:, 0] != 0)[top.part]
    solid = solid_from(*compact(vertices, outward[good]))
    if solid is None:
        raise PatternError(f"{source}: no solid.")
    return Closed(vertices, outward, loose_bodies_united(solid), "as it is", 0.0, ())


def skin_of(solid: Solid, method: Method, error_mm: float) -> Skin:
    """The finished skin of a solid."""
    vertices, faces = triangles_of(solid)
    vertices.setflags(write=False)
    faces.setflags(write=False)
    return Skin(vertices, faces, float(solid.volume()), method, error_mm)
