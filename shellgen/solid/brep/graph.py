"""Graphs over the plan of a pull frame: whatever a trimming curve is the meeting line of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from shellgen.envelope.raster import FloatArray


class Graph(Protocol):
    """A height z(x, y) with its slopes; coordinates mm, arrays of any shape."""

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights [mm]."""
        ...

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes along x and y."""
        ...

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights over a grid, shape (len(y), len(x)) [mm]."""
        ...


@dataclass(frozen=True, slots=True)
class PlaneGraph:
    """The plane z = c + a x + b y."""

    c_mm: float
    a: float = 0.0
    b: float = 0.0

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights [mm]."""
        return self.c_mm + self.a * np.asarray(x_mm) + self.b * np.asarray(y_mm)

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same slopes everywhere."""
        shape = np.broadcast(x_mm, y_mm).shape
        return np.full(shape, self.a), np.full(shape, self.b)

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights over a grid, shape (len(y), len(x)) [mm]."""
        return self.at(*np.meshgrid(x_mm, y_mm))


@dataclass(frozen=True, slots=True)
class ValleyGraph:
    """Two planes that meet in the line x = 0: z = c + slope |x|, with a slope on each side.

    slopes : right of the line and left of it.
    """

    c_mm: float
    slopes: tuple[float, float]

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights [mm]."""
        x = np.broadcast_to(np.asarray(x_mm, float), np.broadcast(x_mm, y_mm).shape)
        return self.c_mm + np.where(x >= 0, self.slopes[0] * x, -self.slopes[1] * x)

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes, on the line itself those of its right side."""
        x = np.broadcast_to(np.asarray(x_mm, float), np.broadcast(x_mm, y_mm).shape)
        return np.where(x >= 0, self.slopes[0], -self.slopes[1]), np.zeros(x.shape)

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights over a grid, shape (len(y), len(x)) [mm]."""
        return self.at(*np.meshgrid(x_mm, y_mm))

    def side(self, sign: float) -> PlaneGraph:
        """The plane right (1) or left (-1) of the line."""
        return PlaneGraph(self.c_mm, self.slopes[0] if sign > 0 else -self.slopes[1], 0.0)


@dataclass(frozen=True, slots=True)
class Difference:
    """One graph less another: positive where the first lies above."""

    first: Graph
    second: Graph

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights of the first over the second [mm]."""
        return self.first.at(x_mm, y_mm) - self.second.at(x_mm, y_mm)

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes of the difference."""
        a, b = self.first.gradient(x_mm, y_mm), self.second.gradient(x_mm, y_mm)
        return a[0] - b[0], a[1] - b[1]

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights of the first over the second on a grid, shape (len(y), len(x)) [mm]."""
        return self.first.on_grid(x_mm, y_mm) - self.second.on_grid(x_mm, y_mm)
