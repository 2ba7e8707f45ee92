"""Closed polylines as few smooth pieces: a circle where it is one, straight lines between corners, else cubics.

Outlines come as polylines of arcs and raster contours, a point every few tenths to few millimetres; a face for each
chord would be no use to anybody.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE
from shellgen.solid.brep.planar_curve import PlanarCurve, chords, reclamped
from shellgen.solid.recipe import Ring

CORNER_DEG = 35.0  # outlines are simplified to 0.02 mm: an arc of 1 mm radius turns 23 degrees a vertex
STRAIGHT_MM = 25.0  # a chord this long with an arc's sagitta of 0.02 mm would have a radius of 4 m
MANY = 12  # where a ring has more pieces, straight ones no longer than ALONE_MM go into curves they meet without a kink
ALONE_MM, TANGENT_DEG = 100.0, 6.0
SMOOTH_MM = 0.012  # root mean square distance from the polyline that smoothing may take
DENSE_MM = 1.5
LEAST_MM = 1e-6
SPIKE_MM = 0.3


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight piece between two points (x, y)."""

    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Circle:
    """A whole circle, counter-clockwise."""

    middle: tuple[float, float]
    radius_mm: float


Piece = Straight | Circle | PlanarCurve


def smooth_ring(ring: Ring, *, circles: bool = True) -> tuple[Piece, ...]:
    """Pieces of a ring in order, end to end; few-cornered polygons stay as they are. circles : whether one may be."""
    points = np.asarray(ring, float)
    circle = _as_circle(points) if circles else None
    if circle is not None:
        return (circle,)
    ahead = np.roll(points, -1, axis=0) - points
    length = np.hypot(*ahead.T)
    points = _without_spikes(points[length > LEAST_MM])
    ahead = np.roll(points, -1, axis=0) - points
    length = np.hypot(*ahead.T)
    angle = np.arctan2(ahead[:, 1], ahead[:, 0])
    turn = np.degrees(np.abs((angle - np.roll(angle, 1) + np.pi) % (2 * np.pi) - np.pi))
    long, alone = length > STRAIGHT_MM, length > ALONE_MM
    ends, far_ends = long | np.roll(long, 1), alone | np.roll(alone, 1)
    corner = (turn > CORNER_DEG) | ends
    if corner.sum() > MANY:
        corner = (turn > CORNER_DEG) | far_ends | ends & (turn > TANGENT_DEG)
    n = len(points)
    if not corner.any():
        return (_smoothed(np.vstack([points, points[:1]]), closed=True),)
    stops = np.flatnonzero(corner)
    out: list[Piece] = []
    for a, b in zip(stops, np.append(stops[1:], stops[0] + n), strict=True):
        run = points[np.arange(a, b + 1) % n]
        if len(run) == 2:
            out.append(Straight(_pair(run[0]), _pair(run[1])))
        else:
            out.append(_smoothed(run, closed=False))
    return tuple(out)


def _without_spikes(points: FloatArray) -> FloatArray:
    """A ring without short steps back along itself, which outlines keep from being united."""
    while len(points) > 4:
        ahead = np.roll(points, -1, axis=0) - points
        length = np.hypot(*ahead.T)
        back = np.einsum("ij,ij->i", ahead, np.roll(ahead, -1, axis=0)) < 0
        before = np.roll(back, 1)
        spikes = np.flatnonzero((length < SPIKE_MM) & (back | before))
        if not len(spikes):
            break
        points = np.delete(points, (spikes[0] + 1) % len(points), axis=0)
    return points


def _pair(p: FloatArray) -> tuple[float, float]:
    return (float(p[0]), float(p[1]))


def _as_circle(points: FloatArray) -> Circle | None:
    """The circle that all points lie on, if there are enough of them, evenly about it."""
    if len(points) < 16:
        return None
    middle = points.mean(axis=0)
    radius = np.hypot(*(points - middle).T)
    if np.ptp(radius) > 1e-6 * radius.max() + 1e-9:
        return None
    return Circle(_pair(np.round(middle, 9)), float(radius.mean()))


def _smoothed(run: FloatArray, *, closed: bool) -> PlanarCurve:
    """A cubic along a polyline (n, 2) whose last point repeats the first if it is closed; open ends are met exactly."""
    from scipy.interpolate import BSpline, splprep

    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    parts = np.maximum(np.ceil(np.diff(s) / DENSE_MM).astype(int), 1)
    at = np.concatenate(
        [[0.0], *(a + (b - a) * np.arange(1, k + 1) / k for a, b, k in zip(s, s[1:], parts, strict=False))]
    )
    points = np.column_stack([np.interp(at, s, run[:, 0]), np.interp(at, s, run[:, 1])])
    while len(points) < 6:
        points = np.insert(points, range(1, len(points)), 0.5 * (points[1:] + points[:-1]), axis=0)
    u = chords(points, closed=False)
    weights = np.ones(len(points))
    if not closed:
        weights[[0, -1]] = 1e4
    (knots, poles, _), _ = splprep(
        points.T, w=weights, u=u, s=len(points) * SMOOTH_MM**2, k=DEGREE, per=1 if closed else 0
    )
    curve = BSpline(knots, np.array(poles).T, DEGREE)
    clear, ends = reclamped(curve, knots[4:-4], float(u[0]), float(u[-1]), closed)
    if not closed:
        ends[0], ends[-1] = run[0], run[-1]
    return PlanarCurve(clear, ends, closed)
