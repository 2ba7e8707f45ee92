"""A piece handed to CAD users as a cadquery workplane, to add a bracket or cut a hole of their own."""

from __future__ import annotations

from typing import Any

from shellgen.errors import KernelError
from shellgen.mold.mold import Mold
from shellgen.solid.brep.occ import in_frame
from shellgen.solid.brep.piece import piece_brep
from shellgen.solid.brep.plate import plate_brep


def piece_workplane(mold: Mold, name: str) -> Any:
    """A shell piece or flat part of a mold as a `cadquery.Workplane` in the mold frame (mm), its solid on the stack.

    Add what prints or mills with the piece in plain cadquery, away from the jacket's side:

        piece = piece_workplane(mold, "A")
        bracket = cadquery.Workplane("XY", origin=(0, 90, 20)).box(30, 40, 10)
        piece.union(bracket, clean=False).val().exportStep("A-with-bracket.step")

    Raises KernelError if there is no part of that name, or no valid solid of it.
    """
    import cadquery

    for piece in mold.design.pieces:
        if piece.name == name:
            solid, _ = piece_brep(piece, mold.design.settings.outputs.step_tolerance_mm)
            return cadquery.Workplane(cadquery.Solid(in_frame(solid, piece.pull_to_mold)))
    for plate in mold.design.plates:
        if plate.name == name:
            return cadquery.Workplane(cadquery.Solid(in_frame(plate_brep(plate), plate.plate_to_mold)))
    names = ", ".join([*(p.name for p in mold.design.pieces), *(p.name for p in mold.design.plates)])
    raise KernelError(f"there is no rigid part {name!r}: this mold has {names}")
