"""The prismatic part of a piece between planes: a plate on each of its mating planes, and the base flange.

Radial pieces have plates whose sides run along the pull, cut out of one outline; pieces between a list of planes bring
each plate as a prism square to its own plane, which the other planes of the piece may cut.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.mold.flange import polygons
from shellgen.solid.brep.planes_graph import PlanesGraph, planes_of
from shellgen.solid.brep.plate import along_board, squared, with_features
from shellgen.solid.brep.plate_rings import ALIKE, Plane, ends_in_line, on_planes
from shellgen.solid.brep.shapes import fused, leaning_slab, less, prism_solid, unified
from shellgen.solid.recipe import Feature, PieceRecipe, Prism, Role

FAR_MM = 1e4
LEAST_SHARE = 0.999  # of the largest part; OCC is that far off on bent walls
CUT_MM = 1e-6  # a plate that reaches less than that beyond a plane is not cut at it


def planes_body(recipe: PieceRecipe, features: tuple[Feature, ...]) -> Any:
    """All plates and the base flange of a piece between planes, with its features; the wall is not there yet.

    Raises KernelError for a feature that would have to be trimmed at the parting.
    """
    what = f"shell piece {recipe.name}"
    low, high = planes_of(recipe)
    plates = [f.shape for f in features if f.role is Role.PLATE and isinstance(f.shape, Prism)]
    others = tuple(f for f in features if f.role is not Role.PLATE)
    for f in others:
        if f.body:
            raise KernelError(f"{what}: a {f.role.value} on leaning plates is not written as STEP")
    foot = [] if recipe.base is None else [_foot_solid(recipe, low, what)]
    if not plates:
        return with_features([*_leaning(recipe, low, high), *foot], others, what)
    begun = _begun(plates, _planes(low), what)
    for rings in (ends_in_line(begun), begun):
        parts = [*_cut(rings, _planes(low), what), *foot]
        whole = fused(parts, what)
        if _whole(whole, parts):
            alike = unified(whole)
            return with_features([alike if _whole(alike, parts) else whole], others, what)
    raise KernelError(f"{what}: the plates of its flange cannot be joined where its mating faces meet")


def _whole(body: Any, parts: list[Any]) -> bool:
    """Whether a body is valid and holds no less than any of the parts it was joined of."""
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    def volume(shape: Any) -> float:
        found = GProp_GProps()
        BRepGProp.VolumeProperties_s(shape, found)
        return float(found.Mass())

    return BRepCheck_Analyzer(body).IsValid() and volume(body) > LEAST_SHARE * max(volume(p) for p in parts)


def _foot_solid(recipe: PieceRecipe, low: PlanesGraph, what: str) -> Any:
    """The base flange, between the planes."""
    assert recipe.base is not None
    ring = _foot(recipe, low, what).exterior.coords[:-1]
    return along_board(tuple((float(x), float(z)) for x, z in ring), recipe.base.thickness_mm)


def _leaning(recipe: PieceRecipe, low: PlanesGraph, high: PlanesGraph) -> list[Any]:
    """Plates cut out of a piece's outline as seen along the pull, each where its plane is the highest."""
    outlines = (recipe.outline, *recipe.apart)
    if recipe.on_board:
        outlines = tuple(squared(o) for o in outlines)
    parts: list[Any] = []
    for k, (plane, raised) in enumerate(zip(low.planes, high.planes, strict=True)):
        share: Any = box(-FAR_MM, -FAR_MM, FAR_MM, FAR_MM)
        for line in low.bounds(k)[: len(low.planes) - 1]:
            at, along, inner = line.place(0.0), 2 * FAR_MM * line.way, 2 * FAR_MM * line.normal
            share = share.intersection(Polygon([at - along, at + along, at + along + inner, at - along + inner]))
        for o in outlines:
            for p in polygons(shapely.Polygon(o.outer, o.holes).intersection(share)):
                parts.append(leaning_slab(p, plane, raised.c_mm - plane.c_mm))
    return parts


def _planes(low: PlanesGraph) -> list[Plane]:
    """The planes that a piece lies inside of: mating planes, sides, board."""
    out: list[Plane] = []
    for p in low.planes:
        lean = float(np.sqrt(1 + p.a**2 + p.b**2))
        out.append((np.array([-p.a, -p.b, 1.0]) / lean, p.c_mm / lean))
    return out + [(np.array([e.a, e.b, 0.0]), -e.c_mm) for e in low.edges]


def _begun(plates: list[Prism], planes: list[Plane], what: str) -> list[Prism]:
    """Plates that start on their own planes exactly and end on others they all but meet.

    Raises KernelError if one lies on none of the planes.
    """
    out = []
    for plate in plates:
        own = _own(plate, planes, what)
        out.append(on_planes(_from_plane(plate, planes[own]), [p for k, p in enumerate(planes) if k != own]))
    return out


def _cut(plates: list[Prism], planes: list[Plane], what: str) -> list[Any]:
    """Plates as solids, cut off at the planes that they cross."""
    found = []
    for plate in plates:
        low = np.asarray(plate.origin) + np.asarray(plate.outer) @ np.stack([plate.x_axis, plate.y_axis])
        corners = np.concatenate([low, low + plate.length_mm * plate.up])
        crossed = [(n, d) for n, d in planes if float((corners @ n).min()) < d - CUT_MM]
        found.append(less(prism_solid(plate), [_beyond(n, d) for n, d in crossed], what))
    return found


def _own(plate: Prism, planes: list[Plane], what: str) -> int:
    """Which plane a plate lies on."""
    up = plate.up
    own = next((k for k, (normal, _) in enumerate(planes) if float(normal @ up) > 1 - ALIKE), None)
    if own is None:
        raise KernelError(f"{what}: a plate of its flange at {plate.origin} lies on none of its mating faces")
    return own


def _from_plane(plate: Prism, plane: Plane) -> Prism:
    """A plate begun on its plane instead of a little under it."""
    under = plane[1] - float(plane[0] @ np.asarray(plate.origin))
    x, y, z = (np.asarray(plate.origin) + under * plane[0]).tolist()
    return replace(plate, origin=(x, y, z), length_mm=plate.length_mm - under)


def _beyond(normal: FloatArray, offset_mm: float) -> Any:
    """All that lies on the outer side of a plane, as a block beyond every piece."""
    first = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    first /= np.linalg.norm(first)
    second = np.cross(normal, first)
    corner = normal * (offset_mm - FAR_MM) - 0.5 * FAR_MM * (first + second)
    square = ((0.0, 0.0), (FAR_MM, 0.0), (FAR_MM, FAR_MM), (0.0, FAR_MM))
    vectors = [(float(v[0]), float(v[1]), float(v[2])) for v in (corner, first, second)]
    return prism_solid(Prism(square, (), vectors[0], vectors[1], vectors[2], FAR_MM))


def _foot(recipe: PieceRecipe, low: PlanesGraph, what: str) -> Polygon:
    """The base flange in the board's plan (x, z): what lies under its reach, over all planes and inside of all sides.

    Raises KernelError for a plane that leans over the board.
    """
    assert recipe.base is not None
    reach = recipe.base.reach
    floor = min(0.0, min(p.c_mm for p in low.planes))
    whole: Any = Polygon([(reach[0][0], floor), *reach, (reach[-1][0], floor)]).buffer(0)
    far = FAR_MM
    for p in low.planes:
        if p.b != 0.0:
            raise KernelError(f"{what}: a mating face that leans over the board is not written as STEP")
        left, right = p.c_mm - p.a * far, p.c_mm + p.a * far
        whole = whole.difference(Polygon([(-far, left), (-far, left - far), (far, right - far), (far, right)]))
    for s in low.sides:
        if s.b == 0.0:
            at = -s.c_mm * s.a
            out = (at - far, at) if s.a > 0 else (at, at + far)
            whole = whole.difference(box(out[0], -far, out[1], far))
    return max(polygons(whole), key=lambda p: p.area)
