"""Features as exact solids: prisms with smooth walls, cylinders, cones, spherical caps."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely.geometry import Polygon

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import PlaneGraph
from shellgen.solid.brep.occ import edge, spline_curve, straight, vertex
from shellgen.solid.brep.planar_curve import PlanarCurve
from shellgen.solid.brep.smooth_ring import Circle, smooth_ring
from shellgen.solid.recipe import Dome, Frustum, Outline, Point, Prism, Ring, Shape

MOST_SPANS = 140  # of one wall: see `skin_face`
LEAST_HOLE_MM2 = 0.01  # outlines united from several may keep openings of no size
MANY = 12  # a ring of more points than this is a polyline of something smooth


def outline_solid(outline: Outline, low_mm: float, high_mm: float) -> Any:
    """An outline as a slab between two heights."""
    prism = Prism(outline.outer, outline.holes, (0.0, 0.0, low_mm), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), high_mm - low_mm)
    return prism_solid(prism)


def feature_solid(shape: Shape) -> Any:
    """A feature's shape, unless it is empty."""
    if isinstance(shape, Frustum):
        return _frustum(shape)
    if isinstance(shape, Dome):
        return _dome(shape)
    return prism_solid(shape)


def _axes(base: Point, axis: Point) -> Any:
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    return gp_Ax2(gp_Pnt(*base), gp_Dir(*axis))


def _frustum(shape: Frustum) -> Any:
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCone, BRepPrimAPI_MakeCylinder

    axes = _axes(shape.base, shape.axis)
    if abs(shape.r0_mm - shape.r1_mm) < 1e-9:
        return BRepPrimAPI_MakeCylinder(axes, shape.r0_mm, shape.length_mm).Shape()
    return BRepPrimAPI_MakeCone(axes, shape.r0_mm, max(shape.r1_mm, 0.0), shape.length_mm).Shape()


def _dome(shape: Dome) -> Any:
    """The cap of a ball that stands on a circle."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeSphere

    radius = (shape.rim_mm**2 + shape.height_mm**2) / (2 * shape.height_mm)
    sunk = radius - shape.height_mm
    middle = np.asarray(shape.base) - sunk * np.asarray(shape.axis)
    axes = _axes((float(middle[0]), float(middle[1]), float(middle[2])), shape.axis)
    return BRepPrimAPI_MakeSphere(axes, radius, float(np.arcsin(sunk / radius)), float(np.pi / 2)).Shape()


def prism_solid(prism: Prism) -> Any:
    """A prism; rings of many points become smooth curves, so that each stretch between corners is one wall."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec

    frame = np.eye(4)
    x, y = np.asarray(prism.x_axis, float), np.asarray(prism.y_axis, float)
    frame[:3, 0], frame[:3, 1], frame[:3, 2], frame[:3, 3] = x, y, np.cross(x, y), prism.origin
    ground = gp_Pln(gp_Pnt(*prism.origin), gp_Dir(*(float(c) for c in frame[:3, 2])))
    maker = BRepBuilderAPI_MakeFace(ground, _wire(prism.outer, frame, outer=True), True)
    for hole in prism.holes:
        if _area(hole) > LEAST_HOLE_MM2:
            maker.Add(_wire(hole, frame, outer=False))
    if not maker.IsDone():
        raise KernelError(f"a prism of {len(prism.outer)} corners at {prism.origin} has no area")
    push = prism.length_mm * frame[:3, 2]
    return BRepPrimAPI_MakePrism(maker.Face(), gp_Vec(*(float(c) for c in push))).Shape()


def leaning_slab(plan: Polygon, plane: PlaneGraph, rise_mm: float) -> Any:
    """A slab on a plane, as high along z everywhere; plan : its outline seen along z."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec

    frame = np.eye(4)
    frame[2, :2], frame[2, 3] = (plane.a, plane.b), plane.c_mm
    ground = gp_Pln(gp_Pnt(0.0, 0.0, plane.c_mm), gp_Dir(-plane.a, -plane.b, 1.0))
    rings = [tuple((float(x), float(y)) for x, y in r.coords[:-1]) for r in (plan.exterior, *plan.interiors)]
    maker = BRepBuilderAPI_MakeFace(ground, _wire(rings[0], frame, outer=True), True)
    for hole in rings[1:]:
        if _area(hole) > LEAST_HOLE_MM2:
            maker.Add(_wire(hole, frame, outer=False))
    if not maker.IsDone():
        raise KernelError(f"a leaning plate of {len(rings[0])} corners has no area")
    return BRepPrimAPI_MakePrism(maker.Face(), gp_Vec(0.0, 0.0, rise_mm)).Shape()


def _wire(ring: Ring, frame: FloatArray, *, outer: bool) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.gp import gp_Circ
    from OCP.TopoDS import TopoDS

    if (_signed_area(ring) > 0) != outer:
        ring = ring[::-1]
    maker = BRepBuilderAPI_MakeWire()
    stretched = bool((np.abs(np.linalg.norm(frame[:3, :2], axis=0) - 1.0) > 1e-12).any())
    pieces = smooth_ring(ring, circles=not stretched) if len(ring) > MANY else ()
    if len(pieces) == 1 and isinstance(pieces[0], Circle):
        middle = _placed(frame, np.array([pieces[0].middle]))[0]
        up = frame[:3, 2] if outer else -frame[:3, 2]
        axes = _axes((float(middle[0]), float(middle[1]), float(middle[2])), (float(up[0]), float(up[1]), float(up[2])))
        maker.Add(BRepBuilderAPI_MakeEdge(gp_Circ(axes, pieces[0].radius_mm)).Edge())
        return maker.Wire()
    if not pieces:
        corners = [vertex(p) for p in _placed(frame, np.asarray(ring, float))]
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            maker.Add(straight(a, b))
        return TopoDS.Wire_s(maker.Wire())
    pieces = tuple(q for p in pieces for q in (p.parts(MOST_SPANS) if isinstance(p, PlanarCurve) else [p]))
    starts = [p.poles_mm[0] if isinstance(p, PlanarCurve) else np.asarray(p.start) for p in pieces]  # type: ignore[union-attr]
    corners = [vertex(p) for p in _placed(frame, np.array(starts))]
    for piece, a, b in zip(pieces, corners, corners[1:] + corners[:1], strict=True):
        if isinstance(piece, PlanarCurve):
            curve = spline_curve(piece.knots, _placed(frame, piece.poles_mm))
            maker.Add(edge(curve, a, b, float(piece.knots[0]), float(piece.knots[-1])))
        else:
            maker.Add(straight(a, b))
    return maker.Wire()


def _signed_area(ring: Ring) -> float:
    p = np.asarray(ring, float)
    return float(0.5 * np.sum(p[:, 0] * np.roll(p[:, 1], -1) - np.roll(p[:, 0], -1) * p[:, 1]))


def _area(ring: Ring) -> float:
    return abs(_signed_area(ring))


def _placed(frame: FloatArray, points: FloatArray) -> FloatArray:
    """Plan points (n, 2) of a frame in space."""
    return points @ frame[:3, :2].T + frame[:3, 3]


def fused(parts: list[Any], what: str) -> Any:
    """One body of several."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse

    return parts[0] if len(parts) == 1 else _boolean(BRepAlgoAPI_Fuse(), parts[:1], parts[1:], what)


def less(body: Any, cuts: list[Any], what: str) -> Any:
    """A body without others."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    return body if not cuts else _boolean(BRepAlgoAPI_Cut(), [body], cuts, what)


def unified(body: Any) -> Any:
    """A body whose faces in one plane or on one cylinder are one face wherever they meet."""
    from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

    tool = ShapeUpgrade_UnifySameDomain(body, False, True, False)
    tool.Build()
    return tool.Shape()


def _boolean(operation: Any, first: list[Any], second: list[Any], what: str) -> Any:
    from OCP.TopTools import TopTools_ListOfShape

    for setter, shapes in ((operation.SetArguments, first), (operation.SetTools, second)):
        row = TopTools_ListOfShape()
        for s in shapes:
            row.Append(s)
        setter(row)
    operation.SetRunParallel(True)
    operation.Build()
    if not operation.IsDone():
        raise KernelError(f"{what}: the features of its plate cannot be joined")
    return operation.Shape()
