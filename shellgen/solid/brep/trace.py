"""Trimming curves: where one graph meets another, as plane cubics that stay on the zero line of their difference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from contourpy import contour_generator

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.plan_lines import Line, clipped, closing, cropped_box, inner_ring
from shellgen.solid.brep.planar_curve import PlanarCurve, chords, through

# grid on which lines are found, and first distance of points along them: the next where the one before does not do
STARTS_MM = ((0.8, 2.0), (0.4, 1.0), (0.2, 0.5), (0.1, 0.2))
MOST_NODES = 6e6
TRACE_MM = 6e-3  # how far the graphs may differ on the curve
REFINEMENTS = 9
ON_CLIP_MM = 1e-6
LEAST_LOOP_MM2 = 1.0


Box = tuple[float, float, float, float]
Pins = tuple[Line | None, ...]


@dataclass(frozen=True, slots=True, eq=False)
class TrimCurve:
    """A zero line in plan, the positive side on its left; the greatest difference of the graphs on it, and where.

    An open one starts and ends on a line it is clipped at. The difference is infinite where a line crosses itself.
    stops : parameters at which edges along it must end.
    """

    curve: PlanarCurve
    error_mm: float
    at_mm: tuple[float, float]
    stops: tuple[float, ...] = ()


def trace(
    difference: Graph,
    box_mm: Box,
    clips: tuple[Line, ...],
    wanted: FloatArray,
    *,
    may_miss: bool = False,
) -> tuple[TrimCurve, ...]:
    """All zero lines of a difference in a rectangle, clipped at lines in plan, as near to it as was reached.

    wanted : (n, 3) points (x, y, sign): what the loops must agree with. A loop is kept only if it holds points of its
    own sign; ripples of a spline outside the region it was fitted for are left alone.
    Raises KernelError where a line leaves the rectangle, or where there is none, unless it may miss.
    """
    best: tuple[TrimCurve, ...] = ()
    for grid, step in STARTS_MM:
        coarse = np.sqrt((box_mm[2] - box_mm[0]) * (box_mm[3] - box_mm[1]) / MOST_NODES)
        found = _traced(difference, box_mm, clips, wanted, max(grid, float(coarse)), step)
        if not best or _error(found) < _error(best):
            best = found
        if _error(best) <= TRACE_MM:
            break
    if not best and not may_miss:
        raise KernelError("a shell surface does not reach the plane that it is trimmed at")
    return best


def _error(curves: tuple[TrimCurve, ...]) -> float:
    return max((c.error_mm for c in curves), default=0.0)


def _traced(
    difference: Graph, box_mm: Box, clips: tuple[Line, ...], wanted: FloatArray, grid_mm: float, step_mm: float
) -> tuple[TrimCurve, ...]:
    box = cropped_box(box_mm, clips)
    if box is None:
        return ()
    x0, y0, x1, y1 = box
    x = np.linspace(x0, x1, max(int((x1 - x0) / grid_mm), 8) + 1)
    y = np.linspace(y0, y1, max(int((y1 - y0) / grid_mm), 8) + 1)
    zero = contour_generator(x, y, difference.on_grid(x, y), name="serial").lines(0.0)
    slanted = tuple(c for c in clips if not c.straight)
    found = []
    for line in (part for whole in zero for part in clipped(_placed(whole, difference), slanted)):
        closed = bool(np.allclose(line[0], line[-1], atol=1e-9))
        pins = () if closed else tuple(_pin(line[k], clips) for k in (0, -1))
        if not _worth_keeping(line if len(set(pins)) < 2 else closing(line, inner_ring(box, slanted)), wanted):
            continue
        if not all(pins):
            raise KernelError(
                f"a trimming curve runs out of its spline at ({line[0, 0]:.1f}, {line[0, 1]:.1f}) and "
                f"({line[-1, 0]:.1f}, {line[-1, 1]:.1f})"
            )
        found.append(_refined(difference, line, closed, pins, step_mm))
    return tuple(found)


def signed_area(ring: FloatArray) -> float:
    """Area of a closed polygon (n, 2), positive if it runs counter-clockwise [mm2]."""
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _placed(line: FloatArray, difference: Graph) -> FloatArray:
    """The line with the positive side on its left."""
    k = int(np.argmax(np.hypot(*np.diff(line, axis=0).T)))
    a, b = line[k], line[k + 1]
    gx, gy = difference.gradient(*(0.5 * (a + b)))
    left = np.array([a[1] - b[1], b[0] - a[0]])
    return line if left @ np.array([float(gx), float(gy)]) > 0 else line[::-1]


def _worth_keeping(line: FloatArray, wanted: FloatArray) -> bool:
    area = signed_area(line)
    if abs(area) < LEAST_LOOP_MM2:
        return False
    ring = shapely.Polygon(line)
    shapely.prepare(ring)
    low, high = line.min(axis=0), line.max(axis=0)
    box = np.all((wanted[:, :2] >= low) & (wanted[:, :2] <= high), axis=1)
    points = wanted[box]
    inside = shapely.contains_xy(ring, points[:, 0], points[:, 1])
    sign = 1.0 if area > 0 else -1.0
    return bool(np.any(points[inside, 2] * sign > 0))


def _pin(end: FloatArray, clips: tuple[Line, ...]) -> Line | None:
    """Which line an end lies on; None where it lies on none."""
    return next((c for c in clips if abs(float(c.over(end[0], end[1]))) < ON_CLIP_MM), None)


def _refined(difference: Graph, line: FloatArray, closed: bool, pins: Pins, step_mm: float) -> TrimCurve:
    """The cubic through points moved onto the zero line, more of them where it strays."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    n = max(int(np.ceil(s[-1] / step_mm)), 8)
    at = np.linspace(0, s[-1], n + 1)[: n if closed else n + 1]
    points = np.column_stack([np.interp(at, s, line[:, 0]), np.interp(at, s, line[:, 1])])
    points = _on_zero(difference, points, pins)
    for _ in range(REFINEMENTS):
        curve = through(points, closed)
        t = chords(points, closed)
        middles = t[:-1, None] + np.diff(t)[:, None] * np.array([0.2, 0.5, 0.8])
        on = curve.at(middles)
        off = np.abs(difference.at(on[..., 0], on[..., 1])).max(axis=1)
        bad = off > 0.7 * TRACE_MM
        if not bad.any():
            break
        more = _on_zero(difference, on[bad, 1], ())
        order = np.argsort(np.concatenate([t[: len(points)], middles[bad, 1]]), kind="stable")
        points = np.concatenate([points, more])[order]
    worst = int(np.argmax(off))
    ring = shapely.LineString(curve.polygon())
    if not ring.is_simple:  # a hairpin taken too wide
        return TrimCurve(curve, np.inf, _crossing(ring))
    return TrimCurve(curve, float(off[worst]), (float(on[worst, 1, 0]), float(on[worst, 1, 1])))


def _crossing(line: shapely.LineString) -> tuple[float, float]:
    """Where a line crosses itself."""
    pieces = shapely.node(line)
    ends = np.array([p.coords[0] for p in getattr(pieces, "geoms", [pieces])])
    inner = ends[np.hypot(*(ends - line.coords[0]).T) > 1e-9]
    x, y = inner[0] if len(inner) else line.coords[0]
    return (float(x), float(y))


def _on_zero(difference: Graph, points: FloatArray, pins: Pins) -> FloatArray:
    """Points moved onto the zero line along the gradient, the ends of an open line along their clip lines."""
    p = points.copy()
    for _ in range(6):
        g = difference.at(p[:, 0], p[:, 1])
        slope = np.column_stack([np.asarray(d, float) for d in difference.gradient(p[:, 0], p[:, 1])])
        for k, pin in zip((0, -1), pins, strict=False):
            if pin is not None:
                slope[k] -= (slope[k] @ pin.normal) * pin.normal
                p[k] -= float(pin.over(p[k, 0], p[k, 1])) * pin.normal
        step = slope * (g / np.maximum((slope**2).sum(axis=1), 1e-6))[:, None]
        length = np.hypot(*step.T)
        p -= step * np.minimum(1.0, 0.5 / np.maximum(length, 1e-12))[:, None]
    return p
