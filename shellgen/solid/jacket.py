"""The rubber as a solid of the mesh kernel: every piece's share up to its jacket, less the pattern."""

from __future__ import annotations

import manifold3d as m3
import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.cells import TURN_OVER
from shellgen.parting.surface import PlanesParting
from shellgen.pattern.pattern import IntArray, Pattern
from shellgen.solid.cell_cut import cut_to_cell, lowest_mm
from shellgen.solid.mesh import CRUMB_MM3, largest, manifold, mesh_of, moved, under
from shellgen.solid.recipe import PieceRecipe, inverse, transform

OVERLAP_MM = 0.0001  # by which shares overlap before they are united: coplanar faces would take twice the time


def jacket_mesh(
    recipes: tuple[PieceRecipe, ...], pattern: Pattern, tolerance_mm: float
) -> tuple[FloatArray, IntArray, float]:
    """The rubber between pattern and jacket's outside of all pieces: vertices, faces in the mold frame, volume [mm3].

    A free pattern touches nothing: turned inside out it is the cavity as it stands, and needs no boolean.
    """
    first = recipes[0]
    full = _full(recipes, tolerance_mm)
    on_board = any(r.on_board for r in recipes)
    if on_board or sum(b.volume() > CRUMB_MM3 for b in full.decompose()) > 1:
        rubber = full - moved(pattern_core(pattern), inverse(first.pull_to_mold))
        if first.on_board:
            rubber = rubber.trim_by_plane((0.0, 1.0, 0.0), 0.0)
        elif on_board:
            up = first.pull_to_mold[2, :3]
            rubber = rubber.trim_by_plane(tuple(up.tolist()), -float(first.pull_to_mold[2, 3]))
        rubber = largest(rubber, "the jacket")
        return *mesh_of(moved(rubber, first.pull_to_mold)), float(rubber.volume())
    outside = largest(full, "the jacket")
    vertices, faces = mesh_of(outside)
    skin = pattern.skin
    cavity = skin.faces[:, [0, 2, 1]] + np.int32(len(vertices))
    return (
        np.concatenate([transform(vertices, first.pull_to_mold), skin.vertices_mm]),
        np.concatenate([faces, cavity]),
        float(outside.volume()) - skin.volume_mm3,
    )


def _full(recipes: tuple[PieceRecipe, ...], tolerance_mm: float) -> m3.Manifold:
    """Rubber and pattern together, in the first piece's pull frame.

    In a list of planes a flat piece does not overlap: its neighbour may slide along it.
    """
    first = recipes[0]
    listed = any(isinstance(r.parting, PlanesParting) for r in recipes)
    shares = []
    for r in recipes:
        below = under(r.jacket, tolerance_mm, 1.0 - lowest_mm(r.parting))
        share = cut_to_cell(below, r.parting, tolerance_mm, overlap_mm=0.0 if listed and r.parting.flat else OVERLAP_MM)
        into_first = inverse(first.pull_to_mold) @ r.pull_to_mold
        motion = TURN_OVER if len(recipes) == 2 and not listed else into_first
        shares.append(share if r is first else moved(share, motion))
    return m3.Manifold.batch_boolean(shares, m3.OpType.Add)


def pattern_core(pattern: Pattern) -> m3.Manifold:
    """The pattern's skin as a solid, run on a little below the board where it stands on one, in the mold frame."""
    skin = manifold(pattern.skin.vertices_mm, pattern.skin.faces)
    if pattern.mount == "none":
        return skin
    cross = skin.slice(0.02)
    return skin + cross.extrude(10.02).translate((0.0, 0.0, -10.0))
