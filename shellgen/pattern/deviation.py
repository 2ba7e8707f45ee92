"""Distances from points to a mesh, measured."""

from __future__ import annotations

import numpy as np

from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.voxels import sorted_into_cells


def samples(vertices: FloatArray, faces: IntArray, count: int = 20_000) -> FloatArray:
    """Points spread evenly over the triangles, (count, 3); the same ones every time."""
    corners = vertices[faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    rng = np.random.default_rng(20)
    upto = np.cumsum(area)
    at = (np.arange(count) + rng.random(count)) / count * upto[-1]
    c = corners[np.searchsorted(upto, at).clip(0, len(faces) - 1)]
    u, v = rng.random((2, count))
    u, v = np.where(u + v > 1, 1 - u, u)[:, None], np.where(u + v > 1, 1 - v, v)[:, None]
    return c[:, 0] + u * (c[:, 1] - c[:, 0]) + v * (c[:, 2] - c[:, 0])


def distances_mm(points: FloatArray, vertices: FloatArray, faces: IntArray, reach_mm: float) -> FloatArray:
    """Distance from each point to the nearest triangle, (n,) [mm]; `reach_mm` where it is further than that."""
    low, high = points.min(0) - reach_mm, points.max(0) + reach_mm
    cell = max(reach_mm, float(np.max(high - low)) / 200)
    shape = tuple((np.ceil((high - low) / cell).astype(int) + 1).tolist())
    cells = sorted_into_cells(vertices, faces, low, cell, shape)
    _, gap = cells.nearest(points, max(1, int(np.ceil(reach_mm / cell))))
    return np.minimum(gap, reach_mm)
