"""The envelope: a height field over a square raster in a piece's pull frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Grid:
    """A square raster in the plan (x, y) of a pull frame.

    Node (i, j) stands at x = x0_mm + j * pitch_mm, y = y0_mm + i * pitch_mm; arrays over it have shape (rows, columns).
    """

    x0_mm: float
    y0_mm: float
    pitch_mm: float
    rows: int
    columns: int

    @property
    def x_mm(self) -> FloatArray:
        """Node positions across, shape (columns,)."""
        return self.x0_mm + self.pitch_mm * np.arange(self.columns, dtype=np.float64)

    @property
    def y_mm(self) -> FloatArray:
        """Node positions up, shape (rows,)."""
        return self.y0_mm + self.pitch_mm * np.arange(self.rows, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """Upper boundary of the pattern grown by a ball, drafted and closed, seen along a pull.

    heights_mm : (rows, columns) float64, read-only; exact above `floor_mm`, which stands in wherever there is nothing.
    """

    grid: Grid
    heights_mm: FloatArray
    radius_mm: float
    crevice_mm: float
    draft_deg: float
    floor_mm: float

    def __post_init__(self) -> None:
        self.heights_mm.setflags(write=False)

    def with_heights(self, heights_mm: FloatArray) -> Envelope:
        """The same envelope with other heights."""
        return replace(self, heights_mm=heights_mm)

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Bilinear heights at points, any shape; the floor outside the raster."""
        g, h = self.grid, self.heights_mm
        u = (np.asarray(x_mm, float) - g.x0_mm) / g.pitch_mm
        v = (np.asarray(y_mm, float) - g.y0_mm) / g.pitch_mm
        inside = (u >= 0) & (v >= 0) & (u <= g.columns - 1) & (v <= g.rows - 1)
        j = np.clip(u.astype(int), 0, g.columns - 2)
        i = np.clip(v.astype(int), 0, g.rows - 2)
        a, b = u - j, v - i
        z = (h[i, j] * (1 - a) + h[i, j + 1] * a) * (1 - b) + (h[i + 1, j] * (1 - a) + h[i + 1, j + 1] * a) * b
        return np.where(inside, z, self.floor_mm)
