"""Fits an envelope as one bicubic graph: knots are moved to where the error is, until the tolerance holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, POLE_DIGITS, SplineGraph, clamped
from shellgen.envelope.spline_fit_solve import solve
from shellgen.envelope.spline_fit_target import Level, Target, target

START_SPAN_MM = 3.0
LEAST_SPAN_MM = 0.4
ROUNDS = 12
PATIENT, CLOSER, CLOSEST = 1, 0.05, 0.9  # rounds before spans get shorter than 1.1 raster steps, by this, to this
KNOT_STEP_MM = 0.03  # knots stand on multiples of this, poles on thirds of it: short text in files
AIM = 0.98  # share of the tolerance that the fit itself aims for
SPARED, SPARINGS = 0.94, 2  # a fit that is better than this share of the aim is tried with fewer knots, so often
MAX_FACTOR = 4.0  # the greatest error may be this many tolerances
SAMPLES = 30_000
SHARE, POWER = 0.98, 0.5  # error of a span: this quantile; the density follows its power
EASY, EASIER = 0.5, 0.9  # spans whose error is under this share of the tolerance grow; each round the share falls
GROWTH, SPARE = 0.7, 1.03  # an axis gets no more knots than its error's power asks for, and a little
GENTLE = 0.3  # slope under which an error says nothing about its direction
LEAST_FACTOR, MOST_FACTOR = 0.7, 1.9  # change of density in one round


@dataclass(frozen=True, slots=True)
class FitReport:
    """How well a graph meets its envelope above the trim, as true distances weighted by surface.

    p99_mm : not passed by 99 % of the surface; max_mm at `at_mm` (x, y, z) in the pull frame; poles : (nx, ny).
    """

    p99_mm: float
    max_mm: float
    at_mm: tuple[float, float, float]
    poles: tuple[int, int]


def fit_graph(
    envelope: Envelope,
    *,
    level_mm: Level,
    low_y_mm: float | None,
    tolerance_mm: float,
    origin_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> tuple[SplineGraph, FitReport]:
    """The graph of an envelope where it lies above a level (and above y = low_y_mm), with its error.

    The envelope's nodes are taken as they are (see `surface_nodes`). Raises KernelError if nothing of it lies there.
    """
    return fit_target(target(envelope, level_mm, low_y_mm), tolerance_mm, origin_mm)


def fit_target(
    goal: Target, tolerance_mm: float, origin_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> tuple[SplineGraph, FitReport]:
    """The graph of a target, with its error.

    origin_mm : where multiples that knots and poles stand on are counted from. Knots are added until 99 % of the
    surface is within the tolerance and all of it within four, and spared again where it then is by far; where the
    raster is too coarse for that, the best graph found is returned and the report says so.
    """
    points, weights, share = samples(goal)
    grids = [Steps(KNOT_STEP_MM, origin) for origin in origin_mm[:2]]
    knots = [_even(axis, START_SPAN_MM, grid) for axis, grid in zip((goal.x_mm, goal.y_mm), grids, strict=True)]
    graph: SplineGraph | None = None
    best: _Trial | None = None
    vain, spared = 0, 0
    for turn in range(ROUNDS):
        graph = solve(goal.heights_mm, goal.weights, goal.x_mm, goal.y_mm, knots[0], knots[1], graph)
        graph = _sunk(graph, goal, origin_mm[2])
        gap = foot_distance(graph, points)
        report = _report(graph, points, weights, gap)
        trial = _Trial(graph, report, gap, _badness(report) / (AIM * tolerance_mm))
        if best is None or trial.over <= 1 or trial.over < best.over:
            best = base = trial
            vain = 0
        elif best.over <= 1:
            break
        elif graph.poles_mm.size < best.graph.poles_mm.size:
            base = trial
        else:  # back to the best ones, with a few more each time
            base = best
            vain += 1
        if best.over <= 1 and (best.over > SPARED or spared == SPARINGS):
            break
        spared += best.over <= 1
        aim = EASY * EASIER**turn * tolerance_mm
        least = max(LEAST_SPAN_MM, max(1.1 - CLOSER * max(turn - PATIENT, 0), CLOSEST) * goal.pitch_mm)
        most = base.over**GROWTH * (1.0 if base.over <= 1 else SPARE ** (1 + vain))
        old = (base.graph.knots_x, base.graph.knots_y)
        knots = [
            _moved(old[k], points[:, k], weights, base.gap_mm * share[k], aim, least, most, grids[k]) for k in range(2)
        ]
    assert best is not None
    return best.graph, best.report


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """A graph on one choice of knots, its errors at the samples, and its badness as a share of what is aimed for."""

    graph: SplineGraph
    report: FitReport
    gap_mm: FloatArray
    over: float


def fit_report(
    graphs: tuple[SplineGraph, ...], envelope: Envelope, level_mm: Level, low_y_mm: float | None
) -> FitReport:
    """How well graphs, each over its own part, meet the nodes of an envelope above a level (and above y = low_y_mm)."""
    return target_report(graphs, target(envelope, level_mm, low_y_mm))


def target_report(graphs: tuple[SplineGraph, ...], goal: Target) -> FitReport:
    """How well graphs, each over its own part, meet the nodes that a target needs."""
    points, weights, _ = samples(goal)
    return _report(graphs[0], points, weights, np.min([foot_distance(g, points) for g in graphs], axis=0))


def _badness(report: FitReport) -> float:
    """What is held against the tolerance [mm]: most of the surface, or its worst place by its own measure."""
    return max(report.p99_mm, report.max_mm / MAX_FACTOR)


def samples(goal: Target) -> tuple[FloatArray, FloatArray, tuple[FloatArray, FloatArray]]:
    """Raster nodes (n, 3) of the needed region, thinned evenly; the surface each stands for; the shares of both axes.

    A wall that runs along x asks for denser knots in y alone: an axis's share is how far the slope points its way.
    """
    i, j = np.nonzero(goal.needed)
    step = max(1, len(i) // SAMPLES)
    i, j = i[::step], j[::step]
    points = np.column_stack([goal.x_mm[j], goal.y_mm[i], goal.heights_mm[i, j]])
    slope = goal.slope[i, j]
    parts = [np.where(slope > GENTLE, np.abs(g[i, j]) / np.maximum(slope, GENTLE), 1.0) for g in goal.gradient]
    return points, np.sqrt(1 + slope**2), (parts[0], parts[1])


def foot_distance(graph: SplineGraph, points_mm: FloatArray, steps: int = 2) -> FloatArray:
    """Distance of points (n, 3) from a graph [mm]: the least found walking towards the foot of the perpendicular."""
    x, y = points_mm[:, 0].copy(), points_mm[:, 1].copy()
    best = np.full(len(points_mm), np.inf)
    for step in range(steps + 1):
        gap = points_mm - np.column_stack([x, y, graph.at(x, y)])
        best = np.minimum(best, np.linalg.norm(gap, axis=1))
        if step < steps:
            gx, gy = graph.gradient(x, y)
            along = (gap[:, 2] - gx * gap[:, 0] - gy * gap[:, 1]) / (1 + gx**2 + gy**2)
            x, y = points_mm[:, 0] + along * gx, points_mm[:, 1] + along * gy
    return best


def weighted_quantile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """The value that the given share of the weight does not pass."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][min(int(np.searchsorted(total, share * total[-1])), len(values) - 1)])


def _report(graph: SplineGraph, points: FloatArray, weights: FloatArray, gap: FloatArray) -> FitReport:
    k = int(np.argmax(gap))
    at = (float(points[k, 0]), float(points[k, 1]), float(points[k, 2]))
    return FitReport(weighted_quantile(gap, weights, 0.99), float(gap[k]), at, graph.poles_mm.shape)


@dataclass(frozen=True, slots=True)
class Steps:
    """Places that knots of an axis may take: multiples of a step counted from an origin."""

    step_mm: float
    origin_mm: float

    def nearest(self, at_mm: FloatArray) -> FloatArray:
        """The nearest of them to places, each once, in rising order."""
        return np.asarray(np.unique(np.round((at_mm - self.origin_mm) / self.step_mm)) * self.step_mm + self.origin_mm)


def _even(nodes_mm: FloatArray, span_mm: float, steps: Steps) -> FloatArray:
    low, high = float(nodes_mm[0]), float(nodes_mm[-1])
    n = max(round((high - low) / span_mm), 4)
    return _snapped(np.linspace(low, high, n + 1)[1:-1], low, high, steps)


def _snapped(inner_mm: FloatArray, low: float, high: float, steps: Steps) -> FloatArray:
    """Clamped knots with inner ones on steps."""
    inner = steps.nearest(inner_mm)
    return clamped(inner[(inner > low + 0.3) & (inner < high - 0.3)], low, high)


def _moved(
    knots: FloatArray,
    at_mm: FloatArray,
    weights: FloatArray,
    gap: FloatArray,
    aim_mm: float,
    least_mm: float,
    most: float,
    steps: Steps,
) -> FloatArray:
    """Knots of one axis laid anew: denser where the error asks for it, sparser where it allows.

    least_mm : the shortest span; most : as many times the spans there were.
    """
    breaks = knots[3:-3]
    span = np.clip(np.searchsorted(breaks, at_mm, side="right") - 1, 0, len(breaks) - 2)
    order = np.argsort(span, kind="stable")
    ends = np.searchsorted(span[order], np.arange(len(breaks)))
    error = np.zeros(len(breaks) - 1)
    for k in range(len(error)):
        here = order[ends[k] : ends[k + 1]]
        if len(here):
            error[k] = weighted_quantile(gap[here], weights[here], SHARE)
    factor = np.clip((error / aim_mm) ** POWER, LEAST_FACTOR, MOST_FACTOR)
    padded = np.pad(factor, 2, mode="edge")
    smooth = sum(c * padded[k : k + len(factor)] for k, c in enumerate((0.1, 0.2, 0.4, 0.2, 0.1)))
    density = np.minimum(np.asarray(smooth) / np.diff(breaks), 1 / least_mm)
    count = np.concatenate([[0.0], np.cumsum(density * np.diff(breaks))])
    n = int(np.ceil(min(count[-1], most * (len(breaks) - 1))))
    inner = np.interp(np.linspace(0, count[-1], n + 1)[1:-1], count, breaks)
    return _snapped(inner, float(breaks[0]), float(breaks[-1]), steps)


def _sunk(graph: SplineGraph, goal: Target, origin: float) -> SplineGraph:
    """Poles rounded, counted from an origin; those that bear on nothing near the trim to whole millimetres.

    These are raised to one depth as well, so that no box reaches far down.
    """
    from scipy.interpolate import BSpline

    bx = BSpline.design_matrix(goal.x_mm, graph.knots_x, DEGREE)
    by = BSpline.design_matrix(goal.y_mm, graph.knots_y, DEGREE)
    near = goal.bearing.astype(float)
    bears = np.asarray(bx.T @ (by.T @ near).T) > 0
    poles = np.round(graph.poles_mm - origin, POLE_DIGITS) + origin
    idle = np.round(np.maximum(graph.poles_mm, goal.sunk_mm) - origin) + origin
    return SplineGraph(graph.knots_x, graph.knots_y, np.asarray(np.where(bears, poles, idle), np.float64))
