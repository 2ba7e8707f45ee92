"""Plane cubic curves: clamped B-splines through points, closed smoothly or open."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, clamped, greville

WRAP = 24  # an interpolating cubic forgets a value by a factor of 3.7 at each point: to the last bit
PARAMETER_DIGITS = 3  # short text in files
POLE_DIGITS = 5
STOP_MM = 1.0  # between a stop that is asked for and others
NEAR_MM = 1e-6  # a knot so near to an end of a piece is that end


@dataclass(frozen=True, slots=True, eq=False)
class PlanarCurve:
    """A cubic in a plane: clamped knots (n + 4,), poles (n, 2) mm. A closed one ends where it starts, with no kink."""

    knots: FloatArray
    poles_mm: FloatArray
    closed: bool

    def at(self, t: FloatArray) -> FloatArray:
        """Points (..., 2)."""
        from scipy.interpolate import BSpline

        return np.asarray(BSpline(self.knots, self.poles_mm, DEGREE)(t))

    @property
    def breaks(self) -> FloatArray:
        """Ends of the polynomial pieces."""
        return self.knots[3:-3]

    def polygon(self, per_span: int = 4) -> FloatArray:
        """Points (n, 2) along the curve, in order, both ends included."""
        b = self.breaks
        inner = b[:-1, None] + np.diff(b)[:, None] * np.arange(per_span) / per_span
        return self.at(np.append(inner.ravel(), b[-1]))

    def parts(self, most_spans: int, stops: tuple[float, ...] = (), least: int = 1) -> list[PlanarCurve]:
        """The line cut into `least` or more open pieces of at most so many spans, and at the parameters `stops`.

        Itself if that is one piece.
        """
        from scipy.interpolate import BSpline

        b = self.breaks
        n = max(int(np.ceil((len(b) - 1) / most_spans)), least)
        if n <= 1 and not stops:
            return [self]
        even = b[np.linspace(0, len(b) - 1, n + 1).round().astype(int)]
        apart = np.abs(even[1:-1, None] - np.array([*stops, b[0], b[-1]])[None]).min(axis=1) > STOP_MM
        cuts = np.unique(np.concatenate([even[[0, -1]], even[1:-1][apart], stops]))
        whole = BSpline(self.knots, self.poles_mm, DEGREE)
        out: list[PlanarCurve] = []
        for low, high in pairwise(cuts.tolist()):
            knots, poles = reclamped(whole, b[(b > low + NEAR_MM) & (b < high - NEAR_MM)], low, high, False)
            # to the last bit: a gap of 1e-13 counts as a turn when OCC adds up the angles of a wire
            poles = np.round(poles, POLE_DIGITS)
            poles[0] = out[-1].poles_mm[-1] if out else self.poles_mm[0]
            out.append(PlanarCurve(knots, poles, False))
        out[-1].poles_mm[-1] = self.poles_mm[-1]
        return out


def chords(points_mm: FloatArray, closed: bool) -> FloatArray:
    """Parameters of points (n, 2) by chord length; a closed line gets one more, for its return to the first."""
    points = np.vstack([points_mm, points_mm[:1]]) if closed else points_mm
    steps = np.round(np.hypot(*np.diff(points, axis=0).T), PARAMETER_DIGITS)
    return np.round(np.concatenate([[0.0], np.cumsum(np.maximum(steps, 10.0**-PARAMETER_DIGITS))]), PARAMETER_DIGITS)


def through(points_mm: FloatArray, closed: bool) -> PlanarCurve:
    """The cubic through four or more points (n, 2), by chord length; a closed one must not repeat its first point."""
    t = chords(points_mm, closed)
    knots, poles = interpolated(t, np.vstack([points_mm, points_mm[:1]]) if closed else points_mm, closed)
    return PlanarCurve(knots, np.round(poles, POLE_DIGITS), closed)


def interpolated(t: FloatArray, values: FloatArray, closed: bool) -> tuple[FloatArray, FloatArray]:
    """Clamped knots and poles of the cubic through values (n, d) at parameters; closed: the last value is the first."""
    from scipy.interpolate import make_interp_spline

    if closed:
        n = min(len(t) - 1, WRAP)
        if n < WRAP:
            curve = make_interp_spline(t, values, k=DEGREE, bc_type="periodic")
        else:  # the ends of a long line run on by enough points not to be felt: a banded system
            round_, more = float(t[-1] - t[0]), np.concatenate([values[-1 - n : -1], values, values[1 : n + 1]])
            longer = np.concatenate([t[-1 - n : -1] - round_, t, t[1 : n + 1] + round_])
            curve = make_interp_spline(longer, more, k=DEGREE)
        return reclamped(curve, t[1:-1], float(t[0]), float(t[-1]), True)
    curve = make_interp_spline(t, values, k=DEGREE)
    poles = np.asarray(curve.c)
    poles[0], poles[-1] = values[0], values[-1]
    return curve.t, poles


def reclamped(curve: Any, inner: FloatArray, low: float, high: float, closed: bool) -> tuple[FloatArray, FloatArray]:
    """The same spline on clamped knots: exact where its own inner knots are given."""
    from scipy.interpolate import make_interp_spline

    knots = clamped(inner, low, high)
    where = np.clip(greville(knots), low, high)
    values = np.asarray(curve(where))
    if closed:
        values[-1] = values[0]
    poles = np.asarray(make_interp_spline(where, values, t=knots, k=DEGREE).c)
    poles[0], poles[-1] = values[0], values[-1]
    return knots, poles
