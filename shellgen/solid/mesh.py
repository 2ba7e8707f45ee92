"""The mesh kernel: a recipe's solid as guaranteed-manifold triangles (manifold3d), in the piece's pull frame.

Slabs straddle their planes and the finished body is trimmed once at the end; trimming each operand first would leave
two triangulated coplanar cuts to be matched.
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.triangulate import solid_under
from shellgen.errors import KernelError
from shellgen.parting.surface import PlanesParting, ValleyParting
from shellgen.pattern.pattern import IntArray
from shellgen.solid.cell_cut import COARSER, cut_to_cell, half_space, lowest_mm
from shellgen.solid.recipe import Dome, Feature, Frustum, Outline, PieceRecipe, PlateRecipe, Prism, Shape

UNDER_MM = 2.0  # how far below the parting the untrimmed skins reach
ROUNDS = 8
CRUMB_MM3 = 0.05  # hollows smaller than this are left-overs of a cut
SAG_MM = 0.01  # chord error of round features


def manifold(vertices_mm: FloatArray, faces: IntArray) -> m3.Manifold:
    """A closed mesh as a manifold solid. Raises KernelError if it is not one."""
    solid = m3.Manifold(m3.Mesh64(np.array(vertices_mm, float, order="C"), np.array(faces, np.uint64, order="C")))
    if solid.status() != m3.Error.NoError:
        raise KernelError(f"a mesh of {len(faces)} triangles is not a closed solid ({solid.status().name})")
    return solid


def mesh_of(solid: m3.Manifold) -> tuple[FloatArray, IntArray]:
    """Vertices (n, 3) and faces (m, 3) of a solid."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.asarray(mesh.tri_verts).astype(np.int32)


def moved(solid: m3.Manifold, matrix: FloatArray) -> m3.Manifold:
    """The solid under a 4x4 motion."""
    return solid.transform(np.ascontiguousarray(matrix[:3], float))


def under(envelope: Envelope, tolerance_mm: float, deeper_mm: float = 0.0) -> m3.Manifold:
    """All that lies below an envelope, cut off a little below the parting plane."""
    lowest = max(-UNDER_MM - deeper_mm, envelope.floor_mm)
    return manifold(*solid_under(envelope, from_mm=lowest, tolerance_mm=tolerance_mm))


def extruded(outline: Outline, low_mm: float, high_mm: float) -> m3.Manifold:
    """The outline as a slab between two heights."""
    cross = m3.CrossSection([np.asarray(r) for r in (outline.outer, *outline.holes)], m3.FillRule.EvenOdd)
    return cross.extrude(high_mm - low_mm).translate((0.0, 0.0, low_mm))


def _frame(base: FloatArray, axis: FloatArray) -> FloatArray:
    z = np.asarray(axis, float) / np.linalg.norm(axis)
    helper = np.array([1.0, 0.0, 0.0]) if abs(z[0]) < 0.7 else np.array([0.0, 1.0, 0.0])
    x = helper - (helper @ z) * z
    x /= np.linalg.norm(x)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = x, np.cross(z, x), z, base
    return matrix


def segments(radius_mm: float) -> int:
    """Sides of a polygon that stays within SAG_MM of a circle, a multiple of four."""
    n = np.pi / np.arccos(max(1 - SAG_MM / max(radius_mm, SAG_MM), 0.0))
    return int(4 * np.ceil(max(n, 16) / 4))


def shape_solid(shape: Shape, cut: bool) -> m3.Manifold:
    """A feature's shape. Round cuts are drawn about their circle, round additions within it."""
    if isinstance(shape, Frustum):
        n = segments(max(shape.r0_mm, shape.r1_mm))
        grow = 1 / np.cos(np.pi / n) if cut else 1.0
        solid = m3.Manifold.cylinder(shape.length_mm, shape.r0_mm * grow, max(shape.r1_mm * grow, 1e-6), n)
        return moved(solid, _frame(np.asarray(shape.base), np.asarray(shape.axis)))
    if isinstance(shape, Dome):
        radius = (shape.rim_mm**2 + shape.height_mm**2) / (2 * shape.height_mm)
        t = np.linspace(0.0, np.arccos(np.clip((radius - shape.height_mm) / radius, -1, 1)), 12)
        profile = np.column_stack([radius * np.sin(t), radius * np.cos(t) - (radius - shape.height_mm)])
        rings = np.vstack([[[0.0, 0.0]], profile[::-1]])
        solid = m3.CrossSection([rings], m3.FillRule.NonZero).revolve(segments(shape.rim_mm))
        return moved(solid, _frame(np.asarray(shape.base), np.asarray(shape.axis)))
    cross = m3.CrossSection([np.asarray(r) for r in (shape.outer, *shape.holes)], m3.FillRule.EvenOdd)
    matrix = np.eye(4)
    x, y = np.asarray(shape.x_axis, float), np.asarray(shape.y_axis, float)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = x, y, np.cross(x, y), shape.origin
    return moved(cross.extrude(shape.length_mm), matrix)


def with_features(body: m3.Manifold, features: tuple[Feature, ...]) -> m3.Manifold:
    """The body with features added and cut, in order; runs of the same kind go in one step."""
    run: list[m3.Manifold] = []
    adding = True
    for feature in (*features, None):
        if run and (feature is None or feature.add != adding):
            op = m3.OpType.Add if adding else m3.OpType.Subtract
            body = m3.Manifold.batch_boolean([body, *run], op)
            run = []
        if feature is not None:
            adding = feature.add
            run.append(shape_solid(feature.shape, cut=not feature.add))
    return body


def base_prism(recipe: PieceRecipe) -> Prism | None:
    """The base flange as a prism along y."""
    if recipe.base is None:
        return None
    reach, under_mm = recipe.base.reach, lowest_mm(recipe.parting) - UNDER_MM
    outer = ((reach[0][0], under_mm), (reach[-1][0], under_mm), *reach[::-1])
    # drawn in the plane y = -1 with axes (z, x): their cross product is +y
    return Prism(
        tuple((z, x) for x, z in outer),
        (),
        (0.0, -1.0, 0.0),
        (0.0, 0.0, 1.0),
        (1.0, 0.0, 0.0),
        recipe.base.thickness_mm + 1.0,
    )


def flange_plates(recipe: PieceRecipe, tolerance_mm: float) -> list[m3.Manifold]:
    """The flange's plates, straddling the parting: all that lies over the outline up to the flange's outer face."""
    outlines = (recipe.outline, *recipe.apart)
    if recipe.flange_top is not None:
        top = recipe.flange_top
        low, high = lowest_mm(recipe.parting) - 1.0, float(top.heights_mm.max()) + 1.0
        lid = manifold(*solid_under(top, from_mm=low - 2.0, tolerance_mm=COARSER * tolerance_mm))
        return [extruded(o, low, high) ^ lid for o in outlines]
    if isinstance(recipe.parting, PlanesParting):
        return []  # they are features
    if not isinstance(recipe.parting, ValleyParting):
        return [extruded(o, -1.0, o.thickness_mm) for o in outlines]
    lean = float(np.hypot(1.0, recipe.parting.slope))
    plates = []
    for o in outlines:  # what lies below either of both outer faces lies below the valley that they form
        far = max(abs(x) for x, _ in o.outer)
        block = extruded(o, -1.0, recipe.parting.slope * far + lean * o.thickness_mm + 1.0)
        for side in (1.0, -1.0):
            normal = (side * recipe.parting.slope / lean, 0.0, -1.0 / lean)
            plates.append(block.trim_by_plane(normal, -o.thickness_mm))
    return plates


def piece_solid(recipe: PieceRecipe, tolerance_mm: float, inside: m3.Manifold | None = None) -> m3.Manifold:
    """A shell piece in its pull frame. `inside` : the room of the jacket, if it was made already."""
    low = lowest_mm(recipe.parting)
    parts = [under(recipe.outside, tolerance_mm, -low), *flange_plates(recipe, tolerance_mm)]
    base = base_prism(recipe)
    if base is not None:
        parts.append(shape_solid(base, cut=False))
    body_features = tuple(f for f in recipe.features if f.body)
    parts += [shape_solid(f.shape, cut=False) for f in body_features if f.add]
    room = under(recipe.inside, tolerance_mm, 1.0 - low) if inside is None else inside
    late = tuple(f for f in recipe.features if not f.body)
    # (X + A) - C = (X - C) + (A - C): every cut goes into the big body in one step, and what is added stays small
    cuts = [room, *(shape_solid(f.shape, cut=True) for f in (*body_features, *late) if not f.add)]
    body = m3.Manifold.batch_boolean(parts, m3.OpType.Add)
    if recipe.on_board:
        cuts.append(half_space((0.0, 1.0, 0.0), 0.0))
    body = cut_to_cell(body, recipe.parting, tolerance_mm, more=cuts)
    added = with_features(m3.Manifold(), late)
    if not added.is_empty():
        body += added
    return largest(body, f"shell piece {recipe.name}")


def plate_solid(recipe: PlateRecipe) -> m3.Manifold:
    """A flat part in its own frame."""
    return with_features(extruded(recipe.outline, 0.0, recipe.outline.thickness_mm), recipe.features)


def largest(solid: m3.Manifold, name: str) -> m3.Manifold:
    """The solid without crumbs; its hollows stay. Raises KernelError if nothing is left.

    Taking a body out by itself may part it again where it was pinched to a point, so this is done until it holds.
    """
    for _ in range(ROUNDS):
        bodies = solid.decompose()
        whole = [b for b in bodies if b.volume() > 0]
        if not whole:
            raise KernelError(f"{name} came out empty")
        kept = whole[int(np.argmax([b.volume() for b in whole]))]
        low, high = np.split(np.array(kept.bounding_box()), 2)
        hollows = []
        for b in bodies:
            box = np.array(b.bounding_box())
            if b.volume() < -CRUMB_MM3 and np.all(box[:3] >= low) and np.all(box[3:] <= high):
                hollows.append(b)
        if 1 + len(hollows) == len(bodies):
            return solid
        meshes = [mesh_of(b) for b in (kept, *hollows)]
        shift = np.cumsum([0] + [len(v) for v, _ in meshes[:-1]])
        faces = np.concatenate([f + n for (_, f), n in zip(meshes, shift, strict=True)])
        solid = manifold(np.concatenate([v for v, _ in meshes]), faces)
    raise KernelError(f"{name} falls into {len(bodies)} bodies that touch in points. Try a finer raster.pitch_mm.")


def plan_of(polygon: Polygon | MultiPolygon, thickness_mm: float) -> Outline:
    """A shapely polygon as an outline."""
    part = polygon if isinstance(polygon, Polygon) else max(polygon.geoms, key=lambda p: p.area)
    part = shapely.geometry.polygon.orient(part)
    return Outline(
        tuple((float(x), float(y)) for x, y in list(part.exterior.coords)[:-1]),
        tuple(tuple((float(x), float(y)) for x, y in list(r.coords)[:-1]) for r in part.interiors),
        thickness_mm,
    )
