"""Level sections and cuts of a closed mesh from its own triangles, without the solid kernel."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shellgen.pattern.caps import caps
from shellgen.pattern.loops import open_loops
from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.topology import part_sums, topology


def rings_at(vertices: FloatArray, faces: IntArray, z_mm: float) -> list[FloatArray]:
    """Rings (k, 2) in which closed triangles cross a level, material on the left; vertices on it count as below."""
    above = vertices[:, 2] > z_mm
    count = above[faces].sum(axis=1)
    crossing = faces[(count == 1) | (count == 2)]
    if not len(crossing):
        return []
    start, end = crossing, np.roll(crossing, -1, axis=1)
    rises, falls = ~above[start] & above[end], above[start] & ~above[end]
    up = np.stack([start[rises], end[rises]], axis=1)  # one edge of each crossing triangle rises, one falls
    down = np.stack([end[falls], start[falls]], axis=1)
    share = (z_mm - vertices[up[:, 0], 2]) / (vertices[up[:, 1], 2] - vertices[up[:, 0], 2])
    points = vertices[up[:, 0], :2] + share[:, None] * (vertices[up[:, 1], :2] - vertices[up[:, 0], :2])
    # The neighbour across an edge that falls here rises along it there: from each triangle on to the next.
    key = len(vertices) * up[:, 0].astype(np.int64) + up[:, 1]
    wanted = len(vertices) * down[:, 0].astype(np.int64) + down[:, 1]
    order = np.argsort(key, kind="stable")
    following = order[np.searchsorted(key[order], wanted).clip(0, len(key) - 1)]
    return [points[ring[::-1]] for ring in _rings(following)]


def _rings(following: npt.NDArray[np.intp]) -> list[list[int]]:
    """Cycles of a "next" list."""
    onward, seen, rings = following.tolist(), bytearray(len(following)), []
    for first in range(len(onward)):
        ring, at = [], first
        while not seen[at]:
            seen[at] = 1
            ring.append(at)
            at = onward[at]
        if len(ring) > 2 and at == first:
            rings.append(ring)
    return rings


def lidded(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, float] | None:
    """Close a body that was clipped at z = 0 with flat lids: (vertices, faces, volume); None where that is not plain.

    Plain: one part, every loop on z = 0, the lids as large as the loops enclose, the result one closed body.
    """
    top = topology(vertices, faces)
    loops = open_loops(top.faces, top.twins)
    if top.parts != 1 or top.conflict.any() or top.crowded.any() or any(vertices[loop, 2].any() for loop in loops):
        return None
    points, lid = caps(vertices, loops)
    closed = np.vstack([top.faces, lid]).astype(np.int32)
    again = topology(points, closed)
    volume = float(part_sums(points, closed, np.zeros(len(closed), np.int32), 1)[0, 0])
    if (again.twins < 0).any() or again.parts != 1 or again.turned.any() or volume <= 0:
        return None
    a, b, c = (points[lid[:, k], :2] for k in range(3))
    twice = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    if twice[twice > 0].sum() > 1e-9 * np.abs(twice).sum():  # a lid faces down; one folded over faces up somewhere
        return None
    return points, closed, volume
