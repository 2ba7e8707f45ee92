"""Weld a mesh: merge exactly equal vertices, drop triangles that are points, lines or copies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from shellgen.pattern.pattern import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Welded:
    """A mesh whose equal vertices are one.

    vertices : (n, 3), faces : (m, 3). collapsed : triangles dropped because two corners coincide. copies : triangles
    dropped because the same three corners, turned the same way, occur already. back_to_back : pairs of the same three
    corners turned opposite ways that are still in `faces`.
    """

    vertices: FloatArray
    faces: IntArray
    collapsed: int
    copies: int
    back_to_back: int


@njit(cache=True, nogil=True)
def _mixed(h):  # type: ignore[no-untyped-def]
    """Scramble 64 bits so that near values fall far apart in a table (multiply and fold)."""
    h ^= h >> np.uint64(32)
    h *= np.uint64(0x9E3779B97F4A7C15)
    h ^= h >> np.uint64(29)
    h *= np.uint64(0xD6E8FEB86659FD93)
    return h ^ (h >> np.uint64(32))


@njit(cache=True, nogil=True)
def _merge(vertices, bits):  # type: ignore[no-untyped-def]
    """For each vertex the number of its first equal, renumbered densely: (map, first vertex of each number)."""
    n = len(vertices)
    size = 16
    while size < 2 * n:
        size *= 2
    table = np.full(size, -1, np.int32)
    new, first, count = np.empty(n, np.int32), np.empty(n, np.int32), 0
    for i in range(n):
        h = _mixed(bits[i, 0] ^ _mixed(bits[i, 1] ^ _mixed(bits[i, 2])))
        slot = np.int64(h & np.uint64(size - 1))
        while True:
            k = table[slot]
            if k < 0:
                table[slot] = count
                first[count] = i
                new[i] = count
                count += 1
                break
            j = first[k]
            if bits[j, 0] == bits[i, 0] and bits[j, 1] == bits[i, 1] and bits[j, 2] == bits[i, 2]:
                new[i] = k
                break
            slot = (slot + 1) & (size - 1)
    return new, first[:count]


@njit(cache=True, nogil=True)
def _keep(faces):  # type: ignore[no-untyped-def]
    """Mark triangles to keep: (mask, collapsed, copies, back-to-back pairs)."""
    m = len(faces)
    size = 16
    while size < 2 * m:
        size *= 2
    table = np.full(size, -1, np.int32)
    keep = np.ones(m, np.bool_)
    collapsed, copies, pairs = 0, 0, 0
    for i in range(m):
        a, b, c = faces[i]
        if a == b or b == c or c == a:
            keep[i] = False
            collapsed += 1
            continue
        low, high = min(a, b, c), max(a, b, c)
        middle = a + b + c - low - high
        even = (a == low and b == middle) or (b == low and c == middle) or (c == low and a == middle)
        h = _mixed(np.uint64(low) ^ _mixed(np.uint64(middle) ^ _mixed(np.uint64(high))))
        slot = np.int64(h & np.uint64(size - 1))
        while table[slot] >= 0:
            p, q, r = faces[table[slot]]
            plow, phigh = min(p, q, r), max(p, q, r)
            if plow == low and phigh == high and p + q + r == a + b + c:
                pmiddle = p + q + r - plow - phigh
                same = (p == plow and q == pmiddle) or (q == plow and r == pmiddle) or (r == plow and p == pmiddle)
                if same == even:
                    keep[i] = False
                    copies += 1
                    break
                pairs += 1
            slot = (slot + 1) & (size - 1)
        if keep[i]:
            table[slot] = i
    return keep, collapsed, copies, pairs


def weld(vertices: FloatArray, faces: IntArray) -> Welded:
    """Merge vertices whose three numbers are equal bit for bit (-0 counts as 0); drop collapsed and copied triangles.

    Vertices that no face uses are dropped. Nothing is moved.
    """
    exact = np.ascontiguousarray(vertices, np.float64) + 0.0  # turns -0 into 0
    new, first = _merge(exact, exact.view(np.uint64))
    merged = new[faces]
    keep, collapsed, copies, pairs = _keep(merged)
    return Welded(*compact(exact[first], merged[keep]), collapsed, copies, pairs)


def compact(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """The same triangles with only the vertices they use, in the old order."""
    used = np.zeros(len(vertices), bool)
    used[faces.ravel()] = True
    if used.all():
        return vertices, faces
    number = np.cumsum(used, dtype=np.int32) - 1
    return vertices[used], number[faces].astype(np.int32)


def without_back_to_back(faces: IntArray) -> IntArray:
    """One of each pair of triangles with the same three corners, however they are turned."""
    key = np.sort(faces, axis=1)
    _, first = np.unique(key, axis=0, return_index=True)
    return faces[np.sort(first)]
