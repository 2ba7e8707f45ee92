"""Where a poured jacket fills and lets its air out, marked in the pictures. Lengths mm, pictures in pixels."""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Mold, Part, VentHole
from shellgen.sheet import cast, paper
from shellgen.sheet.paper import Colour, Spot
from shellgen.sheet.scene import Camera
from shellgen.sheet.strokes import Strokes
from shellgen.sheet.tags import Tag
from shellgen.sheet.zbuffer import Picture
from shellgen.solid.recipe import Frustum, Role, inverse, transform


def pour_tags(mold: Mold, camera: Camera, picture: Picture) -> list[Tag]:
    """Names for the pour and for one of the vents, where their mouths are seen."""
    holes = mold.design.pour.holes if mold.design.pour is not None else ()
    over = picture.depth_mm.shape[0] // picture.rgb.shape[0]
    height, width = picture.depth_mm.shape
    pours: list[Tag] = []
    vents: list[Spot] = []
    for hole in holes:
        x, y, near = camera.project(mouth_mm(mold, hole)[None])[0].tolist()
        row, column = int(y * over), int(x * over)
        if not (0 <= row < height and 0 <= column < width and near > picture.depth_mm[row, column] - hole.bore_mm):
            continue
        if _is_vent(hole):
            vents.append((x, y))
        else:
            words = "pour here, under the lid" if "port" in hole.use and cast.has_lid(mold) else "pour here"
            pours.append(Tag(words, (x, y), paper.VENT))
    if not vents:
        return pours
    count = sum(map(_is_vent, holes))
    words = "vent" if count == 1 else f"vent, one of {count}"
    return [*pours, Tag(words, vents[0], paper.VENT, others=tuple(vents[1:]))]


def mark_holes(mold: Mold, part: Part, camera: Camera, strokes: Strokes) -> list[tuple[str, Colour]]:
    """Rings round a piece's pour and vents; what to write in the legend."""
    holes = [hole for hole in mold.design.pour.holes if hole.piece == part.name] if mold.design.pour is not None else []
    for hole in holes:
        radius = 0.5 * hole.bore_mm / camera.mm_per_px + 4.0
        strokes.circle(camera.at(cast.as_point(mouth_mm(mold, hole))), radius, paper.VENT, 3.0)
    said = [f"pour, {hole.bore_mm:.0f} mm bore" for hole in holes if not _is_vent(hole)]
    vents = sum(map(_is_vent, holes))
    said += [cast.counted(vents, "vent")] if vents else []
    return [(", ".join(said), paper.VENT)] if said else []


def mouth_mm(mold: Mold, hole: VentHole) -> FloatArray:
    """The outer end (3,) of a hole's bore on its axis, in the mold frame."""
    piece = next(recipe for recipe in mold.design.pieces if recipe.name == hole.piece)
    at = transform(np.array([hole.at_mm]), inverse(piece.pull_to_mold))[0]
    bores = [f.shape for f in piece.features if f.role is Role.PORT and not f.add and isinstance(f.shape, Frustum)]
    ends = np.array([np.add(bore.base, np.multiply(bore.axis, bore.length_mm)) for bore in bores] or [at])
    nearest = ends[np.hypot(*(ends - at)[:, :2].T).argmin()]
    return np.asarray(transform(nearest[None], piece.pull_to_mold)[0])


def _is_vent(hole: VentHole) -> bool:
    """Whether a hole lets air out; else the rubber goes in by it."""
    return hole.use.startswith("vent")
