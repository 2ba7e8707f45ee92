"""Clip triangles at the board: what lies below z = 0 is cut away."""

from __future__ import annotations

import numpy as np

from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.weld import compact


def clipped(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The part of each triangle with z >= 0: vertices (n, 3), faces (m, 3). Triangles that only touch z = 0 are kept.

    Neighbours get the same new corners, since each cut edge is taken from its lower to its higher vertex number.
    """
    below = vertices[:, 2] < 0
    if not below.any():
        return vertices, faces
    under = below[faces]
    count = under.sum(axis=1)
    whole = faces[count == 0]
    # One corner left above, or one cut off below: turn each triangle so that this corner comes first.
    lone_above, lone_below = faces[count == 2], faces[count == 1]
    lone_above = _first(lone_above, np.argmin(under[count == 2], axis=1))
    lone_below = _first(lone_below, np.argmax(under[count == 1], axis=1))
    edges = np.concatenate([lone_above[:, [0, 1]], lone_above[:, [0, 2]], lone_below[:, [0, 1]], lone_below[:, [0, 2]]])
    pairs, number = np.unique(np.sort(edges, axis=1), axis=0, return_inverse=True)
    a, b = vertices[pairs[:, 0]], vertices[pairs[:, 1]]
    share = (a[:, 2] / (a[:, 2] - b[:, 2]))[:, None] if len(pairs) else np.empty((0, 1))
    cut = a + share * (b - a)
    cut[:, 2] = 0.0
    new = (number.reshape(-1) + len(vertices)).astype(np.int32)
    p, q = len(lone_above), len(lone_below)
    a1, a2, b1, b2 = new[:p], new[p : 2 * p], new[2 * p : 2 * p + q], new[2 * p + q :]
    parts = [
        whole,
        np.column_stack([lone_above[:, 0], a1, a2]),
        np.column_stack([b1, lone_below[:, 1], lone_below[:, 2]]),
        np.column_stack([b1, lone_below[:, 2], b2]),
    ]
    return compact(np.vstack([vertices, cut]), np.vstack(parts).astype(np.int32))


def _first(faces: IntArray, corner: np.ndarray) -> IntArray:
    rows = np.arange(len(faces))[:, None]
    return faces[rows, (corner[:, None] + np.arange(3)) % 3]
