"""Straight lines through a solid that was read back: each must enter as often as it leaves.

A face whose edges do not bound what they should lets lines in that never come out. Skins are met by the sign of a
line's height over their graphs, planes by theirs; other faces by OCC, whose search samples splines too coarsely to be
asked of them, and takes long over planes with many holes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from shellgen.checks.step_reread import GraphOf, graph_on
from shellgen.checks.step_volume import spline_values
from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph

LINES = 100
WAY = np.array([0.23, 0.31, 1.0]) / np.linalg.norm([0.23, 0.31, 1.0])  # steeper than draft, square to nothing
STEP_MM = 0.3
ALLOWED = 0.02  # share of lines that may pass an edge within its tolerance
ON_MM = 1e-6
ALONG = 1e-9
TRIED = 3  # lines on which OCC must be able to search a skin at all


@dataclass(frozen=True, slots=True)
class Lines:
    """How many lines were drawn, how many met the solid an odd number of times, how many skins OCC cannot search."""

    drawn: int
    odd: int
    blind: int

    @property
    def sound(self) -> bool:
        """Whether next to all lines leave the solid again, and no skin is closed to OCC."""
        return self.odd <= ALLOWED * self.drawn and self.blind == 0


def lines_through(solid: Any, low_mm: FloatArray, high_mm: FloatArray, graph_of: GraphOf = graph_on) -> Lines:
    """Draw lines through a box (two corners) about a solid in its pull frame."""
    from shellgen.solid.brep.occ import explored

    inner = np.random.default_rng(1).uniform(low_mm, high_mm, (LINES, 3))
    reach = float(np.linalg.norm(high_mm - low_mm))
    starts = inner - reach * WAY
    faces = [(f, graph_of(f)) for f in explored(solid, "face")]
    flat = [f for f, _ in faces if _is_plane(f)]
    met = _met_by_occ([f for f, graph in faces if graph is None and not _is_plane(f)], starts, 2 * reach)
    for item in flat:
        met += _met_plane(item, starts)
    for item, graph in faces:
        if graph is not None:
            met += _met(item, graph, starts, 2 * reach)
    blind = sum(not _searched(f, starts[:TRIED], 2 * reach) for f, graph in faces if graph is not None)
    return Lines(LINES, int(np.sum(met % 2)), blind)


def _met(item: Any, graph: SplineGraph, starts: FloatArray, length_mm: float) -> FloatArray:
    """How often each line crosses a face on a graph."""
    t = np.arange(0.0, length_mm + STEP_MM, STEP_MM)
    p = starts[:, None, :] + t[:, None] * WAY
    over = p[..., 2] - graph.at(p[..., 0], p[..., 1])
    k, i = np.nonzero((over[:, 1:] > 0) != (over[:, :-1] > 0))
    a, b = t[i], t[i + 1]
    side = over[k, i] > 0
    for _ in range(24):
        middle = 0.5 * (a + b)
        q = starts[k] + middle[:, None] * WAY
        same = (q[:, 2] - graph.at(q[:, 0], q[:, 1]) > 0) == side
        a, b = np.where(same, middle, a), np.where(same, b, middle)
    q = starts[k] + (0.5 * (a + b))[:, None] * WAY
    return np.bincount(k[_within(item, q[:, 0], q[:, 1])], minlength=len(starts)).astype(float)


def _is_plane(item: Any) -> bool:
    from OCP.BRep import BRep_Tool
    from OCP.Geom import Geom_Plane

    return isinstance(BRep_Tool.Surface_s(item), Geom_Plane)


def _met_plane(item: Any, starts: FloatArray) -> FloatArray:
    """Whether each line, whole, crosses a plane face."""
    from OCP.BRep import BRep_Tool

    place = BRep_Tool.Surface_s(item).Pln().Position()
    axes = [np.array([d.X(), d.Y(), d.Z()]) for d in (place.XDirection(), place.YDirection(), place.Direction())]
    at = np.array([place.Location().X(), place.Location().Y(), place.Location().Z()])
    rise = float(axes[2] @ WAY)
    if abs(rise) < ALONG:
        return np.zeros(len(starts))
    q = starts - ((starts - at) @ axes[2] / rise)[:, None] * WAY - at
    return np.asarray(_within(item, q @ axes[0], q @ axes[1]), np.float64)


def _within(item: Any, u: FloatArray, v: FloatArray) -> npt.NDArray[np.bool_]:
    """Which places in a face's parameters the face covers: those within an odd number of its loops."""
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopoDS import TopoDS

    from shellgen.solid.brep.occ import explored

    forward = TopoDS.Face_s(item.Oriented(TopAbs_FORWARD))
    out = np.zeros(len(u), bool)
    for wire in explored(forward, "wire"):
        loop = shapely.Polygon(_ring(wire, forward))
        shapely.prepare(loop)
        out ^= shapely.contains_xy(loop, u, v)
    return out


def _ring(wire: Any, forward: Any) -> FloatArray:
    """Points along a wire in a face's parameters."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve2d
    from OCP.BRepTools import BRepTools_WireExplorer
    from OCP.GeomAbs import GeomAbs_BSplineCurve, GeomAbs_Line
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopoDS import TopoDS

    points = []
    walk = BRepTools_WireExplorer(wire, forward)
    while walk.More():
        item = TopoDS.Edge_s(walk.Current())
        curve = BRepAdaptor_Curve2d(item, forward)
        kind = curve.GetType()
        n = 6 * curve.NbKnots() if kind == GeomAbs_BSplineCurve else 1 if kind == GeomAbs_Line else 64
        at = np.linspace(curve.FirstParameter(), curve.LastParameter(), n + 1)
        spline = curve.BSpline() if kind == GeomAbs_BSplineCurve else None
        if spline is not None and not spline.IsRational() and not spline.IsPeriodic():
            places = spline_values(spline, at)[0]
        else:
            places = np.array([(p.X(), p.Y()) for p in (curve.Value(float(t)) for t in at)])
        points.append((places if item.Orientation() == TopAbs_FORWARD else places[::-1])[:-1])
        walk.Next()
    return np.concatenate(points)


def _met_by_occ(faces: list[Any], starts: FloatArray, length_mm: float) -> FloatArray:
    """How often each line meets faces, by OCC's own search."""
    from OCP.BRep import BRep_Builder
    from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector
    from OCP.TopoDS import TopoDS_Compound

    builder, whole = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(whole)
    for item in faces:
        builder.Add(whole, item)
    search = IntCurvesFace_ShapeIntersector()
    search.Load(whole, ON_MM)
    out = np.zeros(len(starts))
    for k, start in enumerate(starts):
        search.Perform(_line(start), 0.0, length_mm)
        out[k] = search.NbPnt() if search.IsDone() else np.nan
    return out


def _searched(item: Any, starts: FloatArray, length_mm: float) -> bool:
    """Whether OCC's search works on a face at all, whatever it finds."""
    from OCP.IntCurvesFace import IntCurvesFace_Intersector

    search = IntCurvesFace_Intersector(item, ON_MM)
    for start in starts:
        search.Perform(_line(start), 0.0, length_mm)
        if not search.IsDone():
            return False
    return True


def _line(start: FloatArray) -> Any:
    from OCP.gp import gp_Dir, gp_Lin, gp_Pnt

    return gp_Lin(gp_Pnt(*start.tolist()), gp_Dir(*WAY.tolist()))
