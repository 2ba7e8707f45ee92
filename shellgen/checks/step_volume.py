"""Volume inside a B-rep by its boundary: an integral along the edges of every face in its own parameters.

V = sum over faces of the integral of z n_z, and over a face's parameters the integral of f = z (x_u y_v - x_v y_u) is
minus the integral of G du along its edges, G being f integrated over v (Green). On a graph z(x, y) f is the spline
itself and G exact. Nothing is tessellated; OCC's own volume of such solids is off by tenths of a per cent.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from shellgen.checks.step_reread import GraphOf
from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph

NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)
PANELS = 12  # per edge on curves that are no splines: a full circle in twelfths

Area = Callable[[FloatArray, FloatArray], FloatArray]


def volume_mm3(solid: Any, graph_of: GraphOf) -> float:
    """Volume of a solid [mm3]; graph_of gives the graph that a face lies on, None for other surfaces."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopoDS import TopoDS

    from shellgen.solid.brep.occ import explored
    from shellgen.solid.brep.upright import stands_along_z

    total = 0.0
    for item in explored(solid, "face"):
        sign = 1.0 if item.Orientation() == TopAbs_FORWARD else -1.0
        forward = TopoDS.Face_s(item.Oriented(TopAbs_FORWARD))
        surface = BRepAdaptor_Surface(forward, False)
        graph = graph_of(item)
        if graph is not None:
            total -= sign * _along_edges(forward, _graph_area(graph, _middle(forward)), in_space=False)
        elif surface.GetType() == GeomAbs_Plane:
            flat = surface.Plane()
            normal, at = flat.Axis().Direction(), flat.Location()
            if abs(normal.Z()) > 1e-9:
                a, b = -normal.X() / normal.Z(), -normal.Y() / normal.Z()
                c = at.Z() - a * at.X() - b * at.Y()
                total -= sign * _along_edges(forward, _plane_area(a, b, c), in_space=True)
        elif not stands_along_z(surface):  # what does adds nothing
            total -= sign * _along_edges(forward, _surface_area(surface), in_space=False, knots_u=_knots_u(surface))
    return total


def _middle(forward: Any) -> float:
    """The middle of a face's range of its second parameter."""
    from OCP.BRepTools import BRepTools

    _, _, low, high = BRepTools.UVBounds_s(forward)
    return float(0.5 * (low + high))


def _graph_area(graph: SplineGraph, start: float) -> Area:
    """G on a graph, from a start within the face: outside its edges a spline may be anything, however large."""
    from scipy.interpolate import BSpline, NdBSpline

    up = BSpline(graph.knots_y, graph.poles_mm.T, 3).antiderivative()
    # SciPy pads the coefficients of an antiderivative
    coefficients = np.asarray(up.c)[: len(up.t) - up.k - 1].T
    coefficients = coefficients - np.asarray(up(start))[:, None]
    spline = NdBSpline((graph.knots_x, up.t), np.ascontiguousarray(coefficients), (3, up.k))
    return lambda u, v: np.asarray(spline(np.stack([u, v], axis=-1)))


def _plane_area(a: float, b: float, c: float) -> Area:
    return lambda x, y: (c + a * x) * y + 0.5 * b * y**2


def _surface_area(surface: Any) -> Area:
    """G on any smooth surface, by quadrature in v from the middle of its range."""
    from OCP.gp import gp_Pnt, gp_Vec

    v0, v1 = surface.FirstVParameter(), surface.LastVParameter()
    start = 0.5 * (v0 + v1) if abs(v0) < 1e9 and abs(v1) < 1e9 else 0.0
    p, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()

    def f(u: float, v: float) -> float:
        surface.D1(u, v, p, du, dv)
        return float(p.Z() * (du.X() * dv.Y() - dv.X() * du.Y()))

    def area(u: FloatArray, v: FloatArray) -> FloatArray:
        out = np.empty(len(u))
        for k, (a, b) in enumerate(zip(u.tolist(), v.tolist(), strict=True)):
            half = 0.5 * (b - start)
            out[k] = half * sum(w * f(a, start + half * (1 + n)) for n, w in zip(NODES, WEIGHTS, strict=True))
        return out

    return area


def _knots_u(surface: Any) -> FloatArray:
    """Where a swept surface's profile, if it is a spline, goes from one polynomial to the next; else nothing."""
    from OCP.GeomAbs import GeomAbs_BSplineCurve, GeomAbs_SurfaceOfExtrusion

    if surface.GetType() != GeomAbs_SurfaceOfExtrusion or surface.BasisCurve().GetType() != GeomAbs_BSplineCurve:
        return np.zeros(0)
    profile = surface.BasisCurve().BSpline()
    return np.array([profile.Knot(i) for i in range(1, profile.NbKnots() + 1)])


def _along_edges(forward: Any, area: Area, *, in_space: bool, knots_u: FloatArray | None = None) -> float:
    """Integral of G du along all edges of a face, its region on their left.

    knots_u : values of u at which G is not smooth.
    """
    from OCP.BRepTools import BRepTools_WireExplorer
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopoDS import TopoDS

    from shellgen.solid.brep.occ import explored

    total = 0.0
    for wire in explored(forward, "wire"):
        walk = BRepTools_WireExplorer(wire, forward)
        while walk.More():
            item = TopoDS.Edge_s(walk.Current())
            sign = 1.0 if item.Orientation() == TopAbs_FORWARD else -1.0
            u, v, du = _stations(item, forward, in_space, knots_u)
            total += sign * float(np.sum(area(u, v) * du))
            walk.Next()
    return total


def _stations(
    item: Any, forward: Any, in_space: bool, knots_u: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points of an edge for quadrature: both coordinates and the first one's weighted increments."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Curve2d
    from OCP.GeomAbs import GeomAbs_BSplineCurve, GeomAbs_Line

    curve = BRepAdaptor_Curve(item) if in_space else BRepAdaptor_Curve2d(item, forward)
    low, high = curve.FirstParameter(), curve.LastParameter()
    breaks = np.linspace(low, high, PANELS + 1)
    spline = curve.BSpline() if curve.GetType() == GeomAbs_BSplineCurve else None
    if spline is not None:
        knots = np.array([spline.Knot(i) for i in range(1, spline.NbKnots() + 1)])
        if spline.IsPeriodic():  # a reader may start it anywhere
            turn = knots[-1] - knots[0]
            first = np.floor((low - knots[0]) / turn)
            knots = (knots[:-1] + turn * np.arange(first, first + 3)[:, None]).ravel()
        breaks = np.unique(np.concatenate([[low, high], knots[(knots > low) & (knots < high)]]))
    if knots_u is not None and len(knots_u) and curve.GetType() == GeomAbs_Line:
        first, last = curve.Value(low).X(), curve.Value(high).X()
        if abs(last - first) > 1e-9:
            at = low + (knots_u - first) / (last - first) * (high - low)
            breaks = np.unique(np.concatenate([breaks, at[(at > low) & (at < high)]]))
    half = 0.5 * np.diff(breaks)
    t = (breaks[:-1, None] + half[:, None] * (1 + NODES)).ravel()
    weight = (half[:, None] * WEIGHTS).ravel()
    if spline is not None and not spline.IsRational() and not spline.IsPeriodic():
        values, slopes = spline_values(spline, t)
    else:
        values, slopes = _curve_values(curve, t, in_space)
    return values[:, 0], values[:, 1], slopes * weight


def spline_values(spline: Any, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First two coordinates of a B-spline curve, and the first one's derivative."""
    from scipy.interpolate import BSpline

    knots = np.repeat(
        [spline.Knot(i) for i in range(1, spline.NbKnots() + 1)],
        [spline.Multiplicity(i) for i in range(1, spline.NbKnots() + 1)],
    )
    poles = np.array([(p.X(), p.Y()) for p in (spline.Pole(i) for i in range(1, spline.NbPoles() + 1))])
    curve = BSpline(knots, poles, spline.Degree())
    return np.asarray(curve(t)), np.asarray(curve.derivative()(t))[:, 0]


def _curve_values(curve: Any, t: FloatArray, in_space: bool) -> tuple[FloatArray, FloatArray]:
    from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec, gp_Vec2d

    p, d = (gp_Pnt(), gp_Vec()) if in_space else (gp_Pnt2d(), gp_Vec2d())
    values, slopes = np.empty((len(t), 2)), np.empty(len(t))
    for k, s in enumerate(t.tolist()):
        curve.D1(s, p, d)
        values[k], slopes[k] = (p.X(), p.Y()), d.X()
    return values, slopes
