"""A shell surface fitted as one spline and its trimming curves followed, before OCC is asked for anything."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import Envelope
from shellgen.envelope.spline_fit import FitReport, fit_graph
from shellgen.envelope.spline_fit_graph import POLE_DIGITS, SplineGraph
from shellgen.envelope.spline_fit_nodes import surface_nodes
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Difference, Graph
from shellgen.solid.brep.trace import TRACE_MM, TrimCurve, trace

NUDGES_MM = (0.0, 0.03, -0.03, 0.06, -0.06)
MOST_TRACE_MM = 0.02  # a trimming curve this far off its spline is refused; valid up to 0.1


@dataclass(frozen=True, slots=True, eq=False)
class TracedSkin:
    """A fitted skin, the graph it is trimmed at, where it meets that, and y = low_y where it is cut off (None: nowhere)."""

    graph: SplineGraph
    report: FitReport
    trim: Graph
    curves: tuple[TrimCurve, ...]
    low_y_mm: float | None

    @property
    def trim_mm(self) -> float:
        """Greatest difference of skin and trim along the curves."""
        return max(c.error_mm for c in self.curves)


def traced_skin(
    envelope: Envelope, trim: Graph, level_mm: float, low_y_mm: float | None, tolerance_mm: float, what: str
) -> TracedSkin:
    """Fit one skin and follow its trim.

    trim : what it is trimmed at, about `level_mm` high. Raises KernelError, naming place and size, if no clean trim is
    found even after moving the spline by a few hundredths.
    """
    envelope = envelope.with_heights(surface_nodes(envelope))
    graph, report = fit_graph(envelope, level_mm=level_mm, low_y_mm=low_y_mm, tolerance_mm=tolerance_mm)
    x, y = np.meshgrid(envelope.grid.x_mm, envelope.grid.y_mm)
    sign = np.sign(envelope.heights_mm - trim.at(x, y))
    wanted = np.column_stack([x.ravel(), y.ravel(), sign.ravel()])
    best: TracedSkin | None = None
    error: KernelError | None = None
    for nudge in NUDGES_MM:
        moved = SplineGraph(graph.knots_x, graph.knots_y, np.round(graph.poles_mm + nudge, POLE_DIGITS))
        try:
            curves = trace(Difference(moved, trim), moved.box_mm, low_y_mm, wanted)
        except KernelError as found:
            error = found
            continue
        skin = TracedSkin(moved, report, trim, curves, low_y_mm)
        if best is None or skin.trim_mm < best.trim_mm:
            best = skin
        if best.trim_mm <= TRACE_MM:
            break
    if best is None:
        raise KernelError(f"{what}: {error}")
    if best.trim_mm > MOST_TRACE_MM:
        worst = max(best.curves, key=lambda c: c.error_mm)
        px, py = worst.at_mm
        raise KernelError(
            f"{what}: its edge at height {level_mm:g} cannot be followed within {MOST_TRACE_MM:g} mm: "
            f"{worst.error_mm:.3f} mm off at ({px:.1f}, {py:.1f})"
        )
    return best
