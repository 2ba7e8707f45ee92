"""A shell surface fitted as one spline and its trimming curves followed, before OCC is asked for anything."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.spline_fit import FitReport, fit_graph, fit_report
from shellgen.envelope.spline_fit_graph import POLE_DIGITS, SplineGraph
from shellgen.envelope.spline_fit_net import net_heights
from shellgen.envelope.spline_fit_nodes import surface_nodes
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Difference, Graph
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.planes_graph import PlanesGraph, fitted_level, within_sides
from shellgen.solid.brep.planes_skin import Stretch, planes_curves, stretches
from shellgen.solid.brep.trace import TrimCurve, trace

NUDGES_MM = (0.0, 0.008, -0.008, 0.03, -0.03, 0.06)  # they change the volume
FINE, FINE_POLES = 0.3, 12_000  # raster steps that small skins keep to where that is closer than asked
HELD = 0.99  # share of the tolerance that evening may take up
CLOSER, CLOSER_ROUNDS = 0.97, 3  # of what it leaves
LIFT_MM = 0.06  # most that a skin is moved to even out volumes
UNDER_MM = 2.0  # below the trim, where the mesh is cut off
MESH_MM = 0.06  # tolerance of the mesh where none is told
GOOD_TRACE_MM = 0.012  # and one this near is taken without moving the spline
MOST_TRACE_MM = 0.04  # a trimming curve this far off its spline is refused; valid up to 0.1


@dataclass(frozen=True, slots=True, eq=False)
class TracedSkin:
    """A fitted skin, the graph it is trimmed at, where they meet, and y = low_y where it is cut off (None: nowhere).

    stretches : where it is cut off at the sides of its trim, if that has any.
    """

    graph: SplineGraph
    report: FitReport
    trim: Graph
    curves: tuple[TrimCurve, ...]
    low_y_mm: float | None
    stretches: tuple[Stretch, ...] = ()

    @property
    def trim_mm(self) -> float:
        """Greatest difference of skin and trim along the curves."""
        return max(c.error_mm for c in self.curves)


@dataclass(frozen=True, slots=True, eq=False)
class FittedSkin:
    """A skin's graph, how well it fits, the envelope whose surface it was fitted to, trim and y where that ends."""

    graph: SplineGraph
    report: FitReport
    envelope: Envelope
    trim: Graph
    low_y_mm: float | None

    def lifted(self, by_mm: float) -> FittedSkin:
        """The same skin, moved along the pull."""
        poles = self.graph.poles_mm + np.round(by_mm, POLE_DIGITS)
        graph = SplineGraph(self.graph.knots_x, self.graph.knots_y, poles)
        level = fitted_level(self.envelope, self.trim)
        return replace(self, graph=graph, report=fit_report((graph,), self.envelope, level, self.low_y_mm))


def fitted_skin(
    envelope: Envelope,
    trim: Graph,
    low_y_mm: float | None,
    tolerance_mm: float,
    origin_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> FittedSkin:
    """Fit one skin above its trim (and above y = low_y_mm). origin_mm : from where knots and poles are counted."""
    surface = envelope.with_heights(surface_nodes(envelope))
    level = fitted_level(surface, trim)
    graph, report = fit_graph(
        surface, level_mm=level, low_y_mm=low_y_mm, tolerance_mm=tolerance_mm, origin_mm=origin_mm
    )
    return FittedSkin(graph, report, surface, trim, low_y_mm)


def excess_mm3(envelope: Envelope, mesh_mm: float, skin: FittedSkin) -> float:
    """By how much an envelope's mesh, which keeps to mesh_mm, holds more than its spline above the trim (and low_y)."""
    x0, y0, x1, y1 = skin.graph.box_mm
    y0 = y0 if skin.low_y_mm is None else skin.low_y_mm
    step = envelope.grid.pitch_mm / 3
    x, y = np.arange(x0 + 0.5 * step, x1, step), np.arange(y0 + 0.5 * step, y1, step)
    level = skin.trim.on_grid(x, y)
    mesh = net_heights(envelope, x, y, from_mm=float(level.min()) - UNDER_MM, tolerance_mm=mesh_mm)
    spline = skin.graph.on_grid(x, y)
    more = np.maximum(mesh, level) - np.maximum(spline, level)
    if isinstance(skin.trim, PlanesGraph) and skin.trim.sides:
        more = more[within_sides(skin.trim, *np.meshgrid(x, y))]
    return float(more.sum()) * step**2


def evened(
    inside: FittedSkin, outside: FittedSkin, triangulated: tuple[Envelope, Envelope], mesh_mm: float
) -> tuple[FittedSkin, FittedSkin]:
    """Two skins of a piece, one of them lifted by hundredths so that the piece has its mesh's volume.

    The mesh's nodes are raised near silhouettes, on the inside more than on the outside, and its chords cut bends
    short; the splines follow the surface itself, so without this the solid would hold a little more than the mesh. The
    wall loses no more than LIFT_MM. triangulated : the envelopes of inside and outside whose mesh keeps to mesh_mm.
    """
    more = excess_mm3(triangulated[0], mesh_mm, inside) - excess_mm3(triangulated[1], mesh_mm, outside)
    raised = inside if more > 0 else outside
    above = raised.envelope.heights_mm > fitted_level(raised.envelope, raised.trim, 0.0)
    area = float(above.sum()) * raised.envelope.grid.pitch_mm**2
    lift = min(abs(more) / area, LIFT_MM)
    return (inside.lifted(lift), outside) if more > 0 else (inside, outside.lifted(lift))


def _small_closer(
    envelope: Envelope,
    trim: Graph,
    low_y_mm: float | None,
    tolerance_mm: float,
    origin_mm: tuple[float, float, float],
) -> tuple[FittedSkin, float]:
    """A skin, fitted closer than asked where that costs few poles, and what it was to keep to [mm]."""
    skin = fitted_skin(envelope, trim, low_y_mm, tolerance_mm, origin_mm)
    closer = FINE * envelope.grid.pitch_mm
    if skin.graph.poles_mm.size * tolerance_mm > FINE_POLES * closer or closer >= tolerance_mm:
        return skin, tolerance_mm
    return fitted_skin(envelope, trim, low_y_mm, closer, origin_mm), closer


def fitted_pair(
    envelopes: tuple[Envelope, Envelope],
    trims: tuple[Graph, Graph],
    low_y_mm: tuple[float | None, float | None],
    tolerance_mm: float,
    origin_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
    mesh_mm: float = MESH_MM,
) -> tuple[FittedSkin, FittedSkin]:
    """Inside and outside of a piece fitted and evened; one that evening takes out of tolerance is fitted closer."""
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(_small_closer, envelopes, trims, low_y_mm, [tolerance_mm] * 2, [origin_mm] * 2))
        skins, aims = [skin for skin, _ in found], [aim for _, aim in found]
        pair = evened(skins[0], skins[1], envelopes, mesh_mm)
        for _ in range(CLOSER_ROUNDS):
            held = HELD * tolerance_mm
            late = [k for k in range(2) if skins[k].report.p99_mm <= aims[k] and pair[k].report.p99_mm > held]
            if not late:
                break
            for k in late:
                aims[k] = CLOSER * min(aims[k], aims[k] * tolerance_mm / pair[k].report.p99_mm)
                skins[k] = fitted_skin(envelopes[k], trims[k], low_y_mm[k], aims[k], origin_mm)
            pair = evened(skins[0], skins[1], envelopes, mesh_mm)
    return pair


def _traced(graph: SplineGraph, skin: FittedSkin, wanted: FloatArray) -> TracedSkin:
    """A graph of a fitted skin with the lines in which it meets its trim."""
    trim, low_y = skin.trim, skin.low_y_mm
    if isinstance(trim, PlanesGraph):
        curves = planes_curves(graph, trim, wanted)
        return TracedSkin(graph, skin.report, trim, curves, None, stretches(graph, trim, curves))
    clips = () if low_y is None else (Line(0.0, 1.0, -low_y),)
    return TracedSkin(graph, skin.report, trim, trace(Difference(graph, trim), graph.box_mm, clips, wanted), low_y)


def traced_skin(skin: FittedSkin, what: str) -> TracedSkin:
    """Follow a skin's meeting line with the graph that it is trimmed at.

    Raises KernelError, naming place and size, if no clean line is found even after moving the spline by hundredths.
    """
    envelope, graph, trim = skin.envelope, skin.graph, skin.trim
    x, y = np.meshgrid(envelope.grid.x_mm, envelope.grid.y_mm)
    sign = np.sign(envelope.heights_mm - trim.on_grid(envelope.grid.x_mm, envelope.grid.y_mm))
    wanted = np.column_stack([x.ravel(), y.ravel(), sign.ravel()])
    best: TracedSkin | None = None
    error: KernelError | None = None
    for nudge in NUDGES_MM:
        moved = SplineGraph(graph.knots_x, graph.knots_y, graph.poles_mm + nudge)
        try:
            traced = _traced(moved, skin, wanted)
        except KernelError as found:
            error = found
            continue
        if best is None or traced.trim_mm < best.trim_mm:
            best = traced
        if best.trim_mm <= GOOD_TRACE_MM:
            break
    if best is None:
        raise KernelError(f"{what}: {error}")
    if best.trim_mm > MOST_TRACE_MM:
        worst = max(best.curves, key=lambda c: c.error_mm)
        px, py = worst.at_mm
        fault = f"is {worst.error_mm:.3f} mm off" if np.isfinite(worst.error_mm) else "crosses itself"
        raise KernelError(
            f"{what}: its edge cannot be followed within {MOST_TRACE_MM:g} mm: it {fault} "
            f"at ({px:.1f}, {py:.1f}). More jacket.draft_deg or a larger outputs.step_tolerance_mm makes it easier."
        )
    return best
