"""Plan curves laid on a graph: cubics in space that keep the curve's parameter, cut into parts OCC can judge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, greville
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.planar_curve import interpolated, reclamped

STEP_MM = 2.0  # between points of a line at first
NEAR_MM = 2e-3  # how closely a graph is followed
MARGIN = 1.5  # on the greatest gap found
REFINEMENTS = 9
PARTS = np.array([0.2, 0.5, 0.8])
TURNS = 12

Line = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class LaidPart:
    """A part of a line on a graph: clamped knots, poles (n, 3), greatest distance from the true line."""

    knots: FloatArray
    poles_mm: FloatArray
    tolerance_mm: float

    @property
    def plan_mm(self) -> FloatArray:
        """Points along it in plan."""
        from scipy.interpolate import BSpline

        b = self.knots[DEGREE:-DEGREE]
        t = np.append((b[:-1, None] + np.diff(b)[:, None] * np.arange(4) / 4).ravel(), b[-1])
        return np.asarray(BSpline(self.knots, self.poles_mm[:, :2], DEGREE)(t))

    def heights_on(self, surface: Any) -> FloatArray:
        """Poles of the second parameter of a wall, cone or ball about z along this line."""
        from OCP.Geom import Geom_SphericalSurface
        from OCP.gp import gp_Pnt, gp_Vec
        from scipy.interpolate import BSpline, make_interp_spline

        t = np.clip(greville(self.knots), self.knots[0], self.knots[-1])
        z = np.asarray(BSpline(self.knots, self.poles_mm[:, 2], DEGREE)(t))
        if isinstance(surface, Geom_SphericalSurface):
            ball = surface.Sphere()
            up = ball.Position().Direction().Z()
            v = np.arcsin(np.clip((z - ball.Location().Z()) * up / ball.Radius(), -1.0, 1.0))
        else:
            p, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
            first, last, *_ = surface.Bounds()
            surface.D1(0.5 * (first + last), 0.0, p, du, dv)
            v = (z - p.Z()) / dv.Z()
        return np.asarray(make_interp_spline(t, v, t=self.knots, k=DEGREE).c)


def laid_parts(flat: Any, graph: Graph, most_spans: int) -> list[LaidPart]:
    """An edge of a plane, laid on a graph at the same plan, in its own direction; most_spans : of one part."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_BSplineCurve

    curve = BRepAdaptor_Curve(flat)
    low, high = curve.FirstParameter(), curve.LastParameter()
    breaks = np.array([low, high])
    if curve.GetType() == GeomAbs_BSplineCurve:
        spline = curve.BSpline()
        knots = np.array([spline.Knot(i) for i in range(1, spline.NbKnots() + 1)])
        breaks = np.concatenate([[low], knots[(knots > low) & (knots < high)], [high]])
    line = _plan_line(curve)
    return _parts(lambda t: _on(line(t), graph), breaks, _closes(curve, low, high), most_spans)


def rim_parts(flat: Any, flank: Any, graph: Graph, by_mm: float, most_spans: int) -> list[LaidPart]:
    """The line in which a cone or ball about z, moved up by by_mm, comes out of a graph near its flat circle."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface

    curve, surface = BRepAdaptor_Curve(flat), BRepAdaptor_Surface(flank)
    line, radius = _plan_line(curve), _radius(surface)
    middle = _middle(surface)

    def point(t: FloatArray) -> FloatArray:
        out = line(t) - middle
        way = out / np.hypot(out[..., 0], out[..., 1])[..., None]
        r = np.hypot(out[..., 0], out[..., 1])
        for _ in range(TURNS):
            at = middle + r[..., None] * way
            r = radius(graph.at(at[..., 0], at[..., 1]) - by_mm)
        return _on(middle + r[..., None] * way, graph)

    low, high = curve.FirstParameter(), curve.LastParameter()
    return _parts(point, np.array([low, high]), True, most_spans)


def _on(plan: FloatArray, graph: Graph) -> FloatArray:
    return np.concatenate([plan, graph.at(plan[..., 0], plan[..., 1])[..., None]], axis=-1)


def _closes(curve: Any, low: float, high: float) -> bool:
    return bool(curve.Value(low).Distance(curve.Value(high)) < 1e-9)


def _plan_line(curve: Any) -> Line:
    """Points (..., 2) of an edge in plan."""
    from OCP.GeomAbs import GeomAbs_BSplineCurve, GeomAbs_Circle, GeomAbs_Line
    from scipy.interpolate import BSpline

    kind = curve.GetType()
    if kind == GeomAbs_Line:
        a, way = curve.Line().Location(), curve.Line().Direction()
        return lambda t: np.stack([a.X() + t * way.X(), a.Y() + t * way.Y()], axis=-1)
    if kind == GeomAbs_Circle:
        c = curve.Circle()
        m, ax, ay, r = c.Location(), c.XAxis().Direction(), c.YAxis().Direction(), c.Radius()
        return lambda t: np.stack(
            [
                m.X() + r * (np.cos(t) * ax.X() + np.sin(t) * ay.X()),
                m.Y() + r * (np.cos(t) * ax.Y() + np.sin(t) * ay.Y()),
            ],
            axis=-1,
        )
    if kind == GeomAbs_BSplineCurve and not curve.BSpline().IsRational():
        s = curve.BSpline()
        knots = np.repeat(
            [s.Knot(i) for i in range(1, s.NbKnots() + 1)], [s.Multiplicity(i) for i in range(1, s.NbKnots() + 1)]
        )
        poles = np.array([(p.X(), p.Y()) for p in (s.Pole(i) for i in range(1, s.NbPoles() + 1))])
        return BSpline(knots, poles, s.Degree())
    raise KernelError("an edge of a plate is neither straight nor round nor a spline")


def _radius(surface: Any) -> Callable[[FloatArray], FloatArray]:
    """Radius of a cone or ball about z at a height."""
    from OCP.GeomAbs import GeomAbs_Cone, GeomAbs_Sphere

    if surface.GetType() == GeomAbs_Cone:
        cone = surface.Cone()
        up = cone.Position().Direction().Z()
        z0, r0, k = cone.Location().Z(), cone.RefRadius(), float(np.tan(cone.SemiAngle())) * up
        return lambda z: np.asarray(r0 + k * (z - z0))
    if surface.GetType() == GeomAbs_Sphere:
        ball = surface.Sphere()
        zc, big = ball.Location().Z(), ball.Radius()
        return lambda z: np.sqrt(np.maximum(big**2 - (z - zc) ** 2, 0.0))
    raise KernelError("a flank in a stepped mating face is neither a cone nor a ball")


def _middle(surface: Any) -> FloatArray:
    from OCP.GeomAbs import GeomAbs_Cone

    at = (surface.Cone() if surface.GetType() == GeomAbs_Cone else surface.Sphere()).Location()
    return np.array([at.X(), at.Y()])


def _parts(line: Line, breaks: FloatArray, closed: bool, most_spans: int) -> list[LaidPart]:
    """A line (..., 3) over its parameter as cubics: points are added where they stray from it."""
    from scipy.interpolate import BSpline

    inner = []
    for a, b in pairwise(breaks):
        ends = line(np.linspace(a, b, 9))
        n = max(int(np.ceil(np.hypot(*np.diff(ends[:, :2], axis=0).T).sum() / STEP_MM)), 1)
        inner.append(np.linspace(a, b, n + 1)[:-1])
    t = np.append(np.concatenate(inner), breaks[-1])
    while len(t) < 9:
        t = np.sort(np.concatenate([t, 0.5 * (t[1:] + t[:-1])]))
    for _ in range(REFINEMENTS):
        # two more points in the end spans, whose knots the natural choice of knots leaves out
        sites = t if closed else np.sort(np.concatenate([t, [0.5 * (t[0] + t[1]), 0.5 * (t[-2] + t[-1])]]))
        knots, poles = interpolated(sites, line(sites), closed)
        curve = BSpline(knots, poles, DEGREE)
        between = t[:-1, None] + np.diff(t)[:, None] * PARTS
        off = np.linalg.norm(curve(between) - line(between), axis=-1).max(axis=1)
        bad = off > NEAR_MM
        if not bad.any():
            break
        t = np.sort(np.concatenate([t, between[bad, 1]]))
    tolerance = max(MARGIN * float(off.max()), occ.SPLINE_MM)
    b = knots[DEGREE:-DEGREE]
    n = int(np.ceil((len(b) - 1) / most_spans))
    if n <= 1:
        return [LaidPart(knots, poles, tolerance)]
    cuts = np.linspace(0, len(b) - 1, n + 1).round().astype(int)
    out: list[LaidPart] = []
    for k0, k1 in pairwise(cuts):
        own, p = reclamped(curve, b[k0 + 1 : k1], float(b[k0]), float(b[k1]), False)
        p[0] = out[-1].poles_mm[-1] if out else poles[0]
        out.append(LaidPart(own, p, tolerance))
    out[-1].poles_mm[-1] = poles[-1]
    return out
