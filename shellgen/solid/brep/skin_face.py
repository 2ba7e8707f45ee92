"""A shell surface as one trimmed spline: its surface, the edges where it meets planes, and what runs round it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.spline_fit import FitReport, fit_graph
from shellgen.envelope.spline_fit_nodes import surface_nodes
from shellgen.envelope.spline_fit_graph import DEGREE, SplineGraph, greville
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import Difference, Graph
from shellgen.solid.brep.loops import Side
from shellgen.solid.brep.planar_curve import PlanarCurve
from shellgen.solid.brep.trace import TRACE_MM, TrimCurve, trace

NUDGES_MM = (0.0, 0.03, -0.03, 0.06, -0.06)
MOST_SPANS = 240  # OCC samples an edge at 300 points when it asks which side of a wire is inside
MOST_TRACE_MM = 0.02  # a trimming edge this far off its spline is refused; valid up to 0.1


@dataclass(frozen=True, slots=True, eq=False)
class SkinFace:
    """A fitted skin above a trim graph, with its edges.

    trims : sides along the trim, isos : sides along y = low_y (empty without one), both with the skin on the left in
    (x, y);
    ends : (x, vertex) where trims end on y = low_y, in rising x.
    """

    graph: SplineGraph
    report: FitReport
    surface: Any
    trims: tuple[Side, ...]
    isos: tuple[Side, ...]
    ends: tuple[tuple[float, Any], ...]
    trim_mm: float


def skin_face(
    envelope: Envelope, trim: Graph, level_mm: float, low_y_mm: float | None, tolerance_mm: float, what: str
) -> SkinFace:
    """Fit, trace and lay the edges of one skin.

    trim : what it is trimmed at, about `level_mm` high. Raises KernelError, naming place and size, if no clean trim is
    found even after moving the spline by a few hundredths.
    """
    envelope = envelope.with_heights(surface_nodes(envelope))
    graph, report = fit_graph(envelope, level_mm=level_mm, low_y_mm=low_y_mm, tolerance_mm=tolerance_mm)
    g = envelope.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    sign = np.sign(envelope.heights_mm - trim.at(x, y))
    wanted = np.column_stack([x.ravel(), y.ravel(), sign.ravel()])
    found: tuple[TrimCurve, ...] | None = None
    error: KernelError | None = None
    for nudge in NUDGES_MM:
        moved = SplineGraph(graph.knots_x, graph.knots_y, np.round(graph.poles_mm + nudge, 5))
        try:
            curves = trace(Difference(moved, trim), moved.box_mm, low_y_mm, wanted)
        except KernelError as exc:
            error = exc
            continue
        off = max(c.error_mm for c in curves)
        if off <= TRACE_MM:
            return _laid(moved, report, trim, curves, low_y_mm)
        if found is None or off < max(c.error_mm for c in found):
            found, graph_of_found = curves, moved
    if found is not None and max(c.error_mm for c in found) <= MOST_TRACE_MM:
        return _laid(graph_of_found, report, trim, found, low_y_mm)
    if found is not None:
        worst = max(found, key=lambda c: c.error_mm)
        px, py = worst.curve.at(worst.curve.breaks)[0]
        raise KernelError(
            f"{what}: its edge at height {level_mm:g} cannot be followed within {MOST_TRACE_MM:g} mm "
            f"({worst.error_mm:.3f} mm off, loop from ({px:.1f}, {py:.1f}))"
        )
    raise KernelError(f"{what}: {error}")


def _laid(
    graph: SplineGraph, report: FitReport, trim: Graph, curves: tuple[TrimCurve, ...], low_y: float | None
) -> SkinFace:
    """Edges of traced curves and of the line y = low_y between them."""
    surface = occ.spline_surface(graph)
    trims: list[Side] = []
    ends: list[tuple[float, Any]] = []
    for traced in curves:
        tolerance = max(traced.error_mm, occ.TIGHT_MM)
        parts = traced.curve.parts(MOST_SPANS)
        starts = [_in_space(p.poles_mm[:1], trim)[0] for p in parts]
        stops = [occ.vertex(p, tolerance) for p in starts]
        if traced.curve.closed:
            stops.append(stops[0])
        else:
            stops.append(occ.vertex(_in_space(parts[-1].poles_mm[-1:], trim)[0], tolerance))
            ends += [(float(traced.curve.poles_mm[k, 0]), stops[k]) for k in (0, -1)]
        for c, first, last in zip(parts, stops, stops[1:], strict=False):
            low, high = float(c.knots[0]), float(c.knots[-1])
            poles = np.column_stack([c.poles_mm, _lifted(c, trim)])
            item = occ.edge(occ.spline_curve(c.knots, poles), first, last, low, high, tolerance)
            occ.lay_on(item, occ.spline_curve_2d(c.knots, c.poles_mm), surface, low, high, tolerance)
            trims.append(Side(item, True, c.polygon()))
    ends.sort(key=lambda e: e[0])
    isos = _isos(graph, surface, trim, ends, low_y) if low_y is not None else ()
    return SkinFace(graph, report, surface, tuple(trims), isos, tuple(ends), max(c.error_mm for c in curves))


def _in_space(plan: FloatArray, trim: Graph) -> FloatArray:
    """Plan points (n, 2) on a graph."""
    return np.column_stack([plan, trim.at(plan[:, 0], plan[:, 1])])


def _lifted(curve: PlanarCurve, trim: Graph) -> FloatArray:
    """Heights of poles that carry a plan curve up onto a graph: exact on planes, to the trace's tolerance on others."""
    from scipy.interpolate import make_interp_spline

    t = np.clip(greville(curve.knots), curve.knots[0], curve.knots[-1])
    at = curve.at(t)
    z = make_interp_spline(t, trim.at(at[:, 0], at[:, 1]), t=curve.knots, k=DEGREE).c
    return np.round(np.asarray(z), 9)


def _isos(
    graph: SplineGraph, surface: Any, trim: Graph, ends: list[tuple[float, Any]], low_y: float
) -> tuple[Side, ...]:
    """Edges of the skin along y = low_y: between pairs of ends, where it lies above its trim."""
    out = []
    line = surface.VIso(low_y)
    for (x0, first), (x1, last) in zip(ends[::2], ends[1::2], strict=True):
        item = occ.edge(line, first, last, x0, x1)
        occ.lay_on(item, occ.line_2d((0.0, low_y), (1.0, 0.0)), surface, x0, x1)
        x = np.linspace(x0, x1, 64)
        out.append(Side(item, True, np.column_stack([x, np.full_like(x, low_y)])))
    return tuple(out)
