"""From the design to finished solids: every recipe through the mesh kernel, moved into the mold frame."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import manifold3d as m3
import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.mold.fill import fill_quantities, plain_mm3
from shellgen.mold.mold import Mold, MoldDesign, Part, PartKind
from shellgen.mold.spacers import spacer_solid
from shellgen.solid.jacket import jacket_mesh
from shellgen.solid.mesh import manifold, mesh_of, moved, piece_solid, plate_solid
from shellgen.solid.recipe import Point


def finish(design: MoldDesign) -> Mold:
    """All solids of a design, one after another: the kernel itself uses all cores."""
    tolerance = design.settings.outputs.mesh_tolerance_mm
    with ThreadPoolExecutor(1) as aside:
        plain = aside.submit(plain_mm3, design.settings, design.pattern)
        rubber = Part("jacket", "jacket", *jacket_mesh(design.pieces, design.pattern, tolerance), None, None)
        parts = [
            _part(r.name, "shell", piece_solid(r, tolerance), r.pull_to_mold, tuple(r.pull_to_mold[:3, 2]), r.genus())
            for r in design.pieces
        ]
        parts.append(rubber)
    for plate in design.plates:
        down = plate.name == "lid" and design.pattern.mount != "none"
        pull = -plate.plate_to_mold[:3, 2] if down else plate.plate_to_mold[:3, 2]
        parts.append(_part(plate.name, "lid", plate_solid(plate), plate.plate_to_mold, tuple(pull), plate.genus()))
    if design.pour is not None and design.pour.spacers:
        parts += _spacers(design, next(p for p in parts if p.kind == "jacket"))
    rubber_mm3 = sum(p.volume_mm3 for p in parts if p.kind == "jacket")
    return Mold(
        design, tuple(parts), {**fill_quantities(design, rubber_mm3, plain.result()), **_pour_quantities(design)}
    )


def _spacers(design: MoldDesign, jacket: Part) -> list[Part]:
    """The pads that hold the gap of a poured jacket, cut from its room."""
    rubber = manifold(jacket.vertices_mm, jacket.faces)
    by_name = {recipe.name: recipe for recipe in design.pieces}
    spacers = design.pour.spacers if design.pour is not None else ()
    return [_part(s.name, "spacer", spacer_solid(s, by_name[s.piece], rubber), np.eye(4), None, 0) for s in spacers]


def _pour_quantities(design: MoldDesign) -> dict[str, float]:
    """Of a poured jacket: vents (the pour not counted), the air that stays, and what would stay without each vent."""
    if design.pour is None:
        return {}
    vents = design.pour.holes[1:]
    return {
        "vents": float(len(vents)),
        "trapped_air_cm3": design.pour.trapped_mm3 / 1e3,
        "spacers": float(len(design.pour.spacers)),
        **{f"air_without_vent_{k}_cm3": vent.air_mm3 / 1e3 for k, vent in enumerate(vents, 1)},
    }


def _part(
    name: str, kind: PartKind, solid: m3.Manifold, frame: FloatArray, pull: tuple[float, ...] | None, genus: int | None
) -> Part:
    vertices, faces = mesh_of(moved(solid, frame))
    way: Point | None = None
    if pull is not None:
        unit = np.asarray(pull) / np.linalg.norm(pull)
        unit[np.abs(unit) < 1e-12] = 0.0
        way = (float(unit[0]), float(unit[1]), float(unit[2]))
    return Part(name, kind, vertices, faces, float(solid.volume()), way, genus)
