"""A bicubic graph z(x, y): the spline whose two parameters are the plan coordinates themselves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray

DEGREE = 3
POLE_DIGITS = 3  # decimals of a pole's height [mm]: short text in files


def greville(knots_mm: FloatArray) -> FloatArray:
    """Where the poles of a clamped cubic knot vector stand, so that the spline's parameter is the coordinate itself."""
    return (knots_mm[1:-3] + knots_mm[2:-2] + knots_mm[3:-1]) / 3.0


def clamped(inner_mm: FloatArray, low_mm: float, high_mm: float) -> FloatArray:
    """Clamped cubic knots on an interval."""
    return np.concatenate([np.full(4, low_mm), inner_mm, np.full(4, high_mm)])


@dataclass(frozen=True, slots=True, eq=False)
class SplineGraph:
    """One bicubic graph over a rectangle, poles at Greville points.

    knots_x, knots_y : clamped, (nx + 4,) and (ny + 4,) [mm]; poles_mm : (nx, ny) heights, read-only.
    """

    knots_x: FloatArray
    knots_y: FloatArray
    poles_mm: FloatArray

    def __post_init__(self) -> None:
        self.poles_mm.setflags(write=False)

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y."""
        return (float(self.knots_x[0]), float(self.knots_y[0]), float(self.knots_x[-1]), float(self.knots_y[-1]))

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights at points of any shape within the rectangle [mm]."""
        return self._evaluated(x_mm, y_mm)[0]

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes dz/dx and dz/dy at points of any shape within the rectangle."""
        _, gx, gy = self._evaluated(x_mm, y_mm)
        return gx, gy

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights over a grid, shape (len(y), len(x)) [mm]; points outside are moved to the rectangle's edge."""
        from scipy.interpolate import BSpline

        x0, y0, x1, y1 = self.box_mm
        bx = BSpline.design_matrix(np.clip(x_mm, x0, x1), self.knots_x, DEGREE)
        by = BSpline.design_matrix(np.clip(y_mm, y0, y1), self.knots_y, DEGREE)
        return np.asarray(by @ (bx @ self.poles_mm).T)

    def row(self, y_mm: float) -> FloatArray:
        """Poles (nx,) of the curve z(x) at one y."""
        from scipy.interpolate import BSpline

        return np.asarray(BSpline(self.knots_y, self.poles_mm.T, DEGREE)(y_mm))

    def _evaluated(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Height and both slopes, (3, ...); points outside are moved to the rectangle's edge."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        out = np.empty((3, x.size))
        flat_x, flat_y = np.ascontiguousarray(x).ravel(), np.ascontiguousarray(y).ravel()
        _evaluate(self.knots_x, self.knots_y, np.ascontiguousarray(self.poles_mm), flat_x, flat_y, out)
        return out.reshape(3, *x.shape)


@njit(cache=True, nogil=True)
def _basis(knots, t, value, slope):  # type: ignore[no-untyped-def]
    """The four cubic basis functions at t and their derivatives; returns the first one's number."""
    n = len(knots) - 4
    t = min(max(t, knots[3]), knots[n])
    low, high = 3, n - 1
    while low < high:
        middle = (low + high + 1) // 2
        if knots[middle] <= t:
            low = middle
        else:
            high = middle - 1
    k = low
    value[0] = 1.0
    for d in range(1, 4):
        if d == 3:  # the quadratic basis gives the slopes
            slope[0] = -3.0 * value[0] / (knots[k + 1] - knots[k - 2])
            slope[1] = 3.0 * (value[0] / (knots[k + 1] - knots[k - 2]) - value[1] / (knots[k + 2] - knots[k - 1]))
            slope[2] = 3.0 * (value[1] / (knots[k + 2] - knots[k - 1]) - value[2] / (knots[k + 3] - knots[k]))
            slope[3] = 3.0 * value[2] / (knots[k + 3] - knots[k])
        left = 0.0
        for i in range(d):
            a, b = knots[k + 1 - d + i], knots[k + 1 + i]
            share = value[i] / (b - a)
            value[i] = left + (b - t) * share
            left = (t - a) * share
        value[d] = left
    return k - 3


@njit(cache=True, nogil=True)
def _evaluate(knots_x, knots_y, poles, x, y, out):  # type: ignore[no-untyped-def]
    bx, dx, by, dy = np.zeros(4), np.zeros(4), np.zeros(4), np.zeros(4)
    for p in range(len(x)):
        i, j = _basis(knots_x, x[p], bx, dx), _basis(knots_y, y[p], by, dy)
        z, zx, zy = 0.0, 0.0, 0.0
        for a in range(4):
            along, across = 0.0, 0.0
            for b in range(4):
                along += by[b] * poles[i + a, j + b]
                across += dy[b] * poles[i + a, j + b]
            z += bx[a] * along
            zx += dx[a] * along
            zy += bx[a] * across
        out[0, p], out[1, p], out[2, p] = z, zx, zy
