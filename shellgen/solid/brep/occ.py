"""Hands numbers to OCC: curves, surfaces, edges, faces and solids, all built from arrays."""

from __future__ import annotations

from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph, greville

TIGHT_MM = 1e-7
SPLINE_MM = 1.2e-3  # edges on spline surfaces, whose poles are rounded in files


def _knots(knots: FloatArray) -> tuple[Any, Any]:
    """Distinct knots and their multiplicities as OCC arrays."""
    from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal

    values, counts = np.unique(knots, return_counts=True)
    out, often = TColStd_Array1OfReal(1, len(values)), TColStd_Array1OfInteger(1, len(values))
    for i, (v, c) in enumerate(zip(values.tolist(), counts.tolist(), strict=True), 1):
        out.SetValue(i, v)
        often.SetValue(i, c)
    return out, often


def spline_surface(graph: SplineGraph) -> Any:
    """A graph as a surface whose parameters are x and y."""
    from OCP.Geom import Geom_BSplineSurface
    from OCP.gp import gp_Pnt
    from OCP.TColgp import TColgp_Array2OfPnt

    nx, ny = graph.poles_mm.shape
    x, y, z = greville(graph.knots_x).tolist(), greville(graph.knots_y).tolist(), graph.poles_mm.tolist()
    poles = TColgp_Array2OfPnt(1, nx, 1, ny)
    for i in range(nx):
        for j in range(ny):
            poles.SetValue(i + 1, j + 1, gp_Pnt(x[i], y[j], z[i][j]))
    return Geom_BSplineSurface(poles, *_knots_pair(graph), 3, 3)


def _knots_pair(graph: SplineGraph) -> tuple[Any, Any, Any, Any]:
    (ku, mu), (kv, mv) = _knots(graph.knots_x), _knots(graph.knots_y)
    return ku, kv, mu, mv


def spline_curve(knots: FloatArray, poles_mm: FloatArray) -> Any:
    """A cubic in space: poles (n, 3)."""
    from OCP.Geom import Geom_BSplineCurve
    from OCP.gp import gp_Pnt
    from OCP.TColgp import TColgp_Array1OfPnt

    poles = TColgp_Array1OfPnt(1, len(poles_mm))
    for i, p in enumerate(poles_mm.tolist(), 1):
        poles.SetValue(i, gp_Pnt(*p))
    return Geom_BSplineCurve(poles, *_knots(knots), 3)


def spline_curve_2d(knots: FloatArray, poles: FloatArray) -> Any:
    """A cubic in a surface's parameters: poles (n, 2)."""
    from OCP.Geom2d import Geom2d_BSplineCurve
    from OCP.gp import gp_Pnt2d
    from OCP.TColgp import TColgp_Array1OfPnt2d

    array = TColgp_Array1OfPnt2d(1, len(poles))
    for i, p in enumerate(poles.tolist(), 1):
        array.SetValue(i, gp_Pnt2d(*p))
    return Geom2d_BSplineCurve(array, *_knots(knots), 3)


def line_2d(at: tuple[float, float], along: tuple[float, float]) -> Any:
    """A straight line in a surface's parameters, at parameter 0 in `at`."""
    from OCP.Geom2d import Geom2d_Line
    from OCP.gp import gp_Dir2d, gp_Pnt2d

    return Geom2d_Line(gp_Pnt2d(*at), gp_Dir2d(*along))


def vertex(point: FloatArray, tolerance_mm: float = TIGHT_MM) -> Any:
    """A vertex at (x, y, z)."""
    from OCP.BRep import BRep_Builder
    from OCP.gp import gp_Pnt
    from OCP.TopoDS import TopoDS_Vertex

    out = TopoDS_Vertex()
    BRep_Builder().MakeVertex(out, gp_Pnt(*(float(c) for c in point)), tolerance_mm)
    return out


def edge(curve: Any, first: Any, last: Any, low: float, high: float, tolerance_mm: float = TIGHT_MM) -> Any:
    """An edge on a space curve, vertex `first` at parameter `low`, `last` at `high`; vertices take its tolerance."""
    from OCP.BRep import BRep_Builder
    from OCP.TopAbs import TopAbs_FORWARD, TopAbs_REVERSED
    from OCP.TopoDS import TopoDS_Edge

    builder, out = BRep_Builder(), TopoDS_Edge()
    builder.MakeEdge(out, curve, tolerance_mm)
    builder.Add(out, first.Oriented(TopAbs_FORWARD))
    builder.Add(out, last.Oriented(TopAbs_REVERSED))
    builder.Range(out, low, high)
    for v in (first, last):
        builder.UpdateVertex(v, tolerance_mm)
    return out


def straight(first: Any, last: Any, tolerance_mm: float = TIGHT_MM) -> Any:
    """A straight edge between two vertices."""
    from OCP.BRep import BRep_Tool
    from OCP.Geom import Geom_Line
    from OCP.gp import gp_Dir, gp_Vec

    a, b = BRep_Tool.Pnt_s(first), BRep_Tool.Pnt_s(last)
    return edge(Geom_Line(a, gp_Dir(gp_Vec(a, b))), first, last, 0.0, a.Distance(b), tolerance_mm)


def lay_on(item: Any, curve_2d: Any, surface: Any, low: float, high: float, tolerance_mm: float = TIGHT_MM) -> None:
    """Give an edge its line in a surface's parameters."""
    from OCP.BRep import BRep_Builder
    from OCP.TopLoc import TopLoc_Location

    builder = BRep_Builder()
    builder.UpdateEdge(item, curve_2d, surface, TopLoc_Location(), tolerance_mm)
    builder.Range(item, surface, TopLoc_Location(), low, high)


def face(surface: Any, wires: list[list[tuple[Any, bool]]], outward: bool, tolerance_mm: float = TIGHT_MM) -> Any:
    """A face bounded by wires of (edge, along it?), the region on their left.

    outward : the surface's normal points out of the solid.
    """
    from OCP.BRep import BRep_Builder
    from OCP.TopAbs import TopAbs_FORWARD, TopAbs_REVERSED
    from OCP.TopoDS import TopoDS_Face, TopoDS_Wire

    builder, out = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(out, surface, tolerance_mm)
    for wire in wires:
        loop = TopoDS_Wire()
        builder.MakeWire(loop)
        for item, along in wire:
            builder.Add(loop, item.Oriented(TopAbs_FORWARD if along else TopAbs_REVERSED))
        loop.Closed(True)
        builder.Add(out, loop)
    return out if outward else out.Reversed()


def plane(
    origin: tuple[float, float, float], x_axis: tuple[float, float, float], normal: tuple[float, float, float]
) -> Any:
    """A plane by a point, its first axis and its normal."""
    from OCP.Geom import Geom_Plane
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt

    return Geom_Plane(gp_Ax3(gp_Pnt(*origin), gp_Dir(*normal), gp_Dir(*x_axis)))


def solid_of(faces: list[Any]) -> Any:
    """One solid of one closed shell."""
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    builder, shell, out = BRep_Builder(), TopoDS_Shell(), TopoDS_Solid()
    builder.MakeShell(shell)
    for item in faces:
        builder.Add(shell, item)
    shell.Closed(True)
    builder.MakeSolid(out)
    builder.Add(out, shell)
    return out


def explored(shape: Any, kind: str) -> list[Any]:
    """All different sub-shapes of a kind ("face", "edge", "vertex", "solid", "wire"), each as it lies in the shape."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_MapOfShape

    cast = getattr(TopoDS, f"{kind.capitalize()}_s")
    walk = TopExp_Explorer(shape, getattr(TopAbs_ShapeEnum, f"TopAbs_{kind.upper()}"))
    seen, out = TopTools_MapOfShape(), []
    while walk.More():
        if seen.Add(walk.Current()):
            out.append(cast(walk.Current()))
        walk.Next()
    return out


def in_frame(solid: Any, frame: FloatArray) -> Any:
    """A solid moved by a rigid 4x4: its geometry itself, not a location laid over it."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.gp import gp_Trsf
    from OCP.TopoDS import TopoDS

    matrix = np.where(np.abs(frame) < 1e-12, 0.0, frame)
    motion = gp_Trsf()
    motion.SetValues(*(float(v) for v in matrix[:3].ravel()))
    return TopoDS.Solid_s(BRepBuilderAPI_Transform(solid, motion, True).Shape())
