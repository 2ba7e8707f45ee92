"""A bicubic graph z(x, y): the spline whose two parameters are the plan coordinates themselves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray

DEGREE = 3


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
        return self._evaluated(x_mm, y_mm, (0, 0))

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes dz/dx and dz/dy at points of any shape within the rectangle."""
        return self._evaluated(x_mm, y_mm, (1, 0)), self._evaluated(x_mm, y_mm, (0, 1))

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights over a grid, shape (len(y), len(x)) [mm]."""
        from scipy.interpolate import BSpline

        bx = BSpline.design_matrix(x_mm, self.knots_x, DEGREE)
        by = BSpline.design_matrix(y_mm, self.knots_y, DEGREE)
        return np.asarray(by @ (bx @ self.poles_mm).T)

    def _evaluated(self, x_mm: FloatArray, y_mm: FloatArray, order: tuple[int, int]) -> FloatArray:
        from scipy.interpolate import NdBSpline

        x0, y0, x1, y1 = self.box_mm
        points = np.stack(np.broadcast_arrays(np.clip(x_mm, x0, x1), np.clip(y_mm, y0, y1)), axis=-1)
        return np.asarray(NdBSpline((self.knots_x, self.knots_y), self.poles_mm, DEGREE)(points, nu=order))
