"""The boundary of a solid in cells as closed triangles."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from shellgen.pattern.pattern import FloatArray, IntArray


@njit(cache=True, nogil=True)
def _quads(solid, number, quads):  # type: ignore[no-untyped-def]
    """Two triangles for each face between a marked cell and an unmarked one: (corners, triangles).

    With no room in `quads` it only counts.
    """
    nx, ny, nz = solid.shape
    corners, made = 0, 0
    room = len(quads) > 0
    ring = np.empty(4, np.int64)
    for x in range(1, nx - 1):
        for y in range(1, ny - 1):
            for z in range(1, nz - 1):
                if not solid[x, y, z]:
                    continue
                for k in range(6):
                    axis, up = k // 2, k % 2
                    i = x + (2 * up - 1 if axis == 0 else 0)
                    j = y + (2 * up - 1 if axis == 1 else 0)
                    level = z + (2 * up - 1 if axis == 2 else 0)
                    if solid[i, j, level]:
                        continue
                    if room:
                        for q in range(4):
                            a = 1 if q == 1 or q == 2 else 0
                            b = 1 if q >= 2 else 0
                            if up == 0:
                                a, b = b, a
                            cx = x + (up if axis == 0 else (a if axis == 2 else b))
                            cy = y + (up if axis == 1 else (a if axis == 0 else b))
                            cz = z + (up if axis == 2 else (a if axis == 1 else b))
                            c = (cx * (ny + 1) + cy) * (nz + 1) + cz
                            if number[c] < 0:
                                number[c] = corners
                                corners += 1
                            ring[q] = number[c]
                        quads[made, 0], quads[made, 1], quads[made, 2] = ring[0], ring[1], ring[2]
                        quads[made + 1, 0], quads[made + 1, 1], quads[made + 1, 2] = ring[0], ring[2], ring[3]
                    made += 2
    return corners, made


def boundary(solid: npt.NDArray[np.bool_]) -> tuple[FloatArray, IntArray]:
    """Closed triangles round the marked cells, outward: vertices (n, 3) in cells (corner (0, 0, 0) of the grid is 0).

    solid : (nx, ny, nz) bool, nothing marked on the grid's outside. Cells that touch along an edge or in a corner
    only share that edge or corner.
    """
    nx, ny, nz = solid.shape
    number = np.full((nx + 1) * (ny + 1) * (nz + 1), -1, np.int32)
    _, count = _quads(solid, number, np.empty((0, 3), np.int32))
    faces = np.empty((count, 3), np.int32)
    corners, _ = _quads(solid, number, faces)
    at = np.flatnonzero(number >= 0)
    vertices = np.empty((corners, 3))
    place = np.stack(np.unravel_index(at, (nx + 1, ny + 1, nz + 1)), axis=1)
    vertices[number[at]] = place
    return vertices, faces


@njit(cache=True, nogil=True)
def _neighbours(faces, n):  # type: ignore[no-untyped-def]
    """Sum of each vertex's neighbours is taken over half-edges: start and neighbour lists."""
    starts = np.zeros(n + 1, np.int32)
    for f in range(len(faces)):
        for k in range(3):
            starts[faces[f, k] + 1] += 1
    for i in range(n):
        starts[i + 1] += starts[i]
    items, at = np.empty(3 * len(faces), np.int32), starts[:-1].copy()
    for f in range(len(faces)):
        for k in range(3):
            a = faces[f, k]
            items[at[a]] = faces[f, (k + 1) % 3]
            at[a] += 1
    return starts, items


@njit(cache=True, nogil=True)
def _smooth(vertices, starts, items, rounds, moving):  # type: ignore[no-untyped-def]
    now = vertices.copy()
    for _ in range(rounds):
        before = now.copy()
        for i in range(len(now)):
            n = starts[i + 1] - starts[i]
            if n == 0 or not moving[i]:
                continue
            for a in range(3):
                total = 0.0
                for k in range(starts[i], starts[i + 1]):
                    total += before[items[k], a]
                now[i, a] = 0.5 * before[i, a] + 0.5 * total / n
    return now


def smoothed(vertices: FloatArray, faces: IntArray, rounds: int, moving: npt.NDArray[np.bool_]) -> FloatArray:
    """Vertices drawn half-way to the middle of their neighbours, so many times; those not `moving` stay."""
    starts, items = _neighbours(faces, len(vertices))
    return _smooth(vertices, starts, items, rounds, moving)


def normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Unit normals at vertices, weighted by area: (n, 3); zero where there is none."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    out = np.stack([np.bincount(faces.ravel(), np.repeat(normal[:, a], 3), len(vertices)) for a in range(3)], axis=1)
    return out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-30)


@njit(cache=True, nogil=True)
def _split(faces, twins, marked, middle, out, first):  # type: ignore[no-untyped-def]
    """Split marked edges at their middles: (faces made, vertices made); the pattern depends on how many are marked."""
    made, count = 0, 0
    m = len(faces)
    at = np.full(3 * m, -1, np.int32)
    for h in range(3 * m):
        if marked[h] and at[h] < 0:
            at[h] = first + count
            at[twins[h]] = first + count
            middle[count, 0], middle[count, 1] = faces[h // 3, h % 3], faces[h // 3, (h % 3 + 1) % 3]
            count += 1
    for f in range(m):
        n = 0
        for k in range(3):
            n += 1 if at[3 * f + k] >= 0 else 0
        s = 0
        if n == 1:
            while at[3 * f + s] < 0:
                s += 1
        elif n == 2:
            while at[3 * f + s] >= 0:
                s += 1
            s = (s + 1) % 3  # edges s and s + 1 are split
        a, b, c = faces[f, s], faces[f, (s + 1) % 3], faces[f, (s + 2) % 3]
        x, y, z = at[3 * f + s], at[3 * f + (s + 1) % 3], at[3 * f + (s + 2) % 3]
        if n == 0:
            rows = ((a, b, c), (a, b, c), (a, b, c), (a, b, c))
            use = 1
        elif n == 1:
            rows = ((a, x, c), (x, b, c), (a, b, c), (a, b, c))
            use = 2
        elif n == 2:
            rows = ((x, b, y), (a, x, y), (a, y, c), (a, b, c))
            use = 3
        else:
            rows = ((a, x, z), (x, b, y), (z, y, c), (x, y, z))
            use = 4
        for r in range(use):
            out[made, 0], out[made, 1], out[made, 2] = rows[r][0], rows[r][1], rows[r][2]
            made += 1
    return made, count


def split_edges(
    faces: IntArray, twins: IntArray, marked: npt.NDArray[np.bool_], vertices: int
) -> tuple[IntArray, IntArray]:
    """Split marked half-edges (and their twins) of a closed mesh: (faces, ends (k, 2) of the k new vertices' edges)."""
    both = marked | marked[twins]
    middle = np.empty((int(both.sum()), 2), np.int32)
    out = np.empty((4 * len(faces), 3), np.int32)
    made, count = _split(faces, twins, both, middle, out, vertices)
    return out[:made].copy(), middle[:count].copy()
