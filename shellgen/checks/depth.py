"""Depth buffers: the lowest and highest material of a mesh on each of a raster of lines along one direction."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

if TYPE_CHECKING:
    from collections.abc import Callable

ODD = (3.0 - 5.0**0.5) / 2.0


class Window(NamedTuple):
    """A raster of lines along +z: line (i, j) at x = x0_mm + j · pitch_mm, y = y0_mm + i · pitch_mm."""

    x0_mm: float
    y0_mm: float
    pitch_mm: float
    rows: int
    columns: int


def window_round(points: FloatArray, lines: int, pitch_mm: float) -> Window:
    """A raster round points (n, 3), as fine as asked, but of no more than so many lines."""
    low, high = points[:, :2].min(0), points[:, :2].max(0)
    size = np.maximum(high - low, pitch_mm)
    pitch = max(pitch_mm, float(np.sqrt(size.prod() / lines)))
    columns, rows = (np.ceil(size / pitch).astype(int) + 1).tolist()
    # an odd part of a step off the bounds, so that no lines run along faces that stand on round numbers
    return Window(float(low[0]) + ODD * pitch, float(low[1]) + ODD * pitch, pitch, rows, columns)


def undersides(points: FloatArray, faces: IntArray, window: Window) -> FloatArray:
    """Lowest z of a closed mesh on each line, (rows, columns); +inf where a line misses it.

    points : (n, 3) [mm], z along the lines. Faces seen edge-on add nothing that their neighbours do not.
    """
    return -_nearest(points, faces, window, -1.0)


def tops(points: FloatArray, faces: IntArray, window: Window) -> FloatArray:
    """Highest z of a closed mesh on each line, (rows, columns); −inf where a line misses it."""
    return _nearest(points, faces, window, 1.0)


def _nearest(points: FloatArray, faces: IntArray, window: Window, sign: float) -> FloatArray:
    """Greatest sign · z on each line."""
    nearest = np.full((window.rows, window.columns), -np.inf)
    scaled = np.array(points, float, order="C")
    scaled[:, 0] = (scaled[:, 0] - window.x0_mm) / window.pitch_mm
    scaled[:, 1] = (scaled[:, 1] - window.y0_mm) / window.pitch_mm
    _kernel()(scaled, np.array(faces, np.int32, order="C"), sign, nearest)
    return nearest


def _kernel() -> Callable[[FloatArray, IntArray, float, FloatArray], None]:
    """The compiled rasteriser; imported late, as its compiler is slow to load."""
    from shellgen.checks.depth_kernel import rasterise

    return rasterise
