"""The line in which an upright plane cuts a skin, as an edge: exact where the plane stands along x or y."""

from __future__ import annotations

from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, SplineGraph, clamped, greville
from shellgen.solid.brep import occ
from shellgen.solid.brep.loops import Side
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.planes_skin import Stretch

NEAR_MM = 1e-3  # how closely a skin is followed along a line that is slanted in plan
APART_MM = 1e-3  # between knots of such a line, which crosses those of both axes
ROUNDS = 7
POINTS_MM = 0.25


def upright_side(
    graph: SplineGraph,
    surface: Any,
    stretch: Stretch,
    met: dict[tuple[float, float], Any],
    corners: dict[tuple[float, float], Any],
) -> Side:
    """The edge of a skin along a stretch of an upright side, the skin on its left in (x, y).

    met : vertices where trims end, by place. corners : those where such edges meet; new ones are added.
    """
    line = stretch.side
    t0, t1 = (float(np.asarray(p) @ line.way) for p in (stretch.low, stretch.high))
    knots, heights, off = followed(graph, line, t0, t1)
    tolerance = max(2 * off, occ.SPLINE_MM)
    ends = []
    for k, (place, corner) in enumerate(zip((stretch.low, stretch.high), stretch.corners, strict=True)):
        if not corner:
            ends.append(met[place])
            heights[-k] = _height(met[place])
            continue
        at = np.array([*place, heights[-k]])
        ends.append(corners.setdefault(place, occ.vertex(at, tolerance)))
    plan = greville(knots)[:, None] * line.way - line.c_mm * line.normal
    plan[0], plan[-1] = stretch.low, stretch.high
    poles = np.column_stack([plan, np.round(heights, 9)])
    item = occ.edge(occ.spline_curve(knots, poles), ends[0], ends[1], t0, t1, tolerance)
    occ.lay_on(item, occ.spline_curve_2d(knots, plan), surface, t0, t1, tolerance)
    t = np.linspace(t0, t1, max(int((t1 - t0) / POINTS_MM), 64))
    points = t[:, None] * line.way - line.c_mm * line.normal
    points[0], points[-1] = stretch.low, stretch.high
    return Side(item, True, points)


def _height(vertex: Any) -> float:
    from OCP.BRep import BRep_Tool

    return float(BRep_Tool.Pnt_s(vertex).Z())


def followed(graph: SplineGraph, line: Line, t0: float, t1: float) -> tuple[FloatArray, FloatArray, float]:
    """Knots and heights of poles of a graph's cubic over a line, from place to place, and how far it strays [mm]."""
    from scipy.interpolate import BSpline, make_interp_spline

    inner = np.concatenate([_crossed(graph.knots_x, line, 0), _crossed(graph.knots_y, line, 1)])
    inner = np.unique(inner[(inner > t0 + APART_MM) & (inner < t1 - APART_MM)])
    if not line.straight:
        inner = inner[np.diff(inner, prepend=-np.inf) > APART_MM]
    for _ in range(ROUNDS):
        knots = clamped(inner, t0, t1)
        where = np.clip(greville(knots), t0, t1)
        heights = np.asarray(make_interp_spline(where, _over(graph, line, where), t=knots, k=DEGREE).c)
        breaks = knots[3:-3]
        middles = breaks[:-1, None] + np.diff(breaks)[:, None] * np.array([0.15, 0.5, 0.85])
        off = np.abs(BSpline(knots, heights, DEGREE)(middles) - _over(graph, line, middles)).max(axis=1)
        if line.straight or not (off > NEAR_MM).any():
            break
        inner = np.sort(np.concatenate([inner, middles[off > NEAR_MM, 1]]))
    return knots, heights, float(off.max())


def _crossed(knots: FloatArray, line: Line, axis: int) -> FloatArray:
    """Places along a line at which it crosses the knots of an axis."""
    way = float(line.way[axis])
    if way == 0.0:
        return np.zeros(0)
    return np.asarray((np.unique(knots) + line.c_mm * line.normal[axis]) / way)


def _over(graph: SplineGraph, line: Line, t: FloatArray) -> FloatArray:
    """Heights of a graph over places along a line."""
    at = t[..., None] * line.way - line.c_mm * line.normal
    return graph.at(at[..., 0], at[..., 1])
