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
