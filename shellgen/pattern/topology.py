"""Topology of a triangle mesh: which edges meet, which way faces should turn, which faces hang together.

Half-edge 3 f + k runs from corner k to corner k + 1 of face f.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from shellgen.pattern.pattern import FloatArray, IntArray

OPEN, CROWDED = -1, -2


@dataclass(frozen=True, slots=True, eq=False)
class Topology:
    """How the faces of a mesh meet, after turning them one way.

    faces : (m, 3), turned consistently across edges of two faces where that is possible. twins : (3 m,) the half-edge
    on the other side; -1 on an open edge. crowded : (3 m,) bool, edges of three or more faces that could not be
    paired. part : (m,) number of each face's part. conflict : (parts,) bool, parts that have one side only (no
    consistent turning). turned : (m,) bool, faces that were turned over.
    """

    faces: IntArray
    twins: IntArray
    crowded: npt.NDArray[np.bool_]
    part: IntArray
    conflict: npt.NDArray[np.bool_]
    turned: npt.NDArray[np.bool_]

    @property
    def parts(self) -> int:
        """Number of parts."""
        return len(self.conflict)


@njit(cache=True, nogil=True)
def edge_groups(faces, n):  # type: ignore[no-untyped-def]
    """Half-edges in an order in which those on one edge stand together: (order, start of each group, end appended)."""
    m = len(faces)
    begin = np.zeros(n + 1, np.int64)
    for f in range(m):
        for k in range(3):
            begin[min(faces[f, k], faces[f, (k + 1) % 3]) + 1] += 1
    for i in range(n):
        begin[i + 1] += begin[i]
    order, far = np.empty(3 * m, np.int32), np.empty(3 * m, np.int32)
    fill = begin[:-1].copy()
    for f in range(m):
        for k in range(3):
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            low, high = min(a, b), max(a, b)
            order[fill[low]] = 3 * f + k
            far[fill[low]] = high
            fill[low] += 1
    starts, count = np.empty(3 * m + 1, np.int32), 0
    for i in range(n):
        lo, hi = begin[i], begin[i + 1]
        gap = 1 if hi - lo < 32 else 1093  # a shell sort where many edges meet in one vertex
        while gap > 0:
            for p in range(lo + gap, hi):
                key, edge = far[p], order[p]
                q = p - gap
                while q >= lo and (far[q] > key or (far[q] == key and order[q] > edge)):
                    far[q + gap], order[q + gap] = far[q], order[q]
                    q -= gap
                far[q + gap], order[q + gap] = key, edge
            gap //= 3
        for p in range(lo, hi):
            if p == lo or far[p] != far[p - 1]:
                starts[count] = p
                count += 1
    starts[count] = 3 * m
    return order, starts[: count + 1]


@njit(cache=True, nogil=True)
def _pairs(order, starts, m):  # type: ignore[no-untyped-def]
    mates = np.full(3 * m, OPEN, np.int32)
    for g in range(len(starts) - 1):
        lo, hi = starts[g], starts[g + 1]
        if hi - lo == 2:
            mates[order[lo]], mates[order[lo + 1]] = order[lo + 1], order[lo]
        elif hi - lo > 2:
            for p in range(lo, hi):
                mates[order[p]] = CROWDED
    return mates


@njit(cache=True, nogil=True)
def _wind(faces, mates):  # type: ignore[no-untyped-def]
    """Spread one turning over each part, joined by edges of two faces: (part, turn over?, conflict per part)."""
    m = len(faces)
    part, over = np.full(m, -1, np.int32), np.zeros(m, np.bool_)
    conflict, invert = np.zeros(m, np.bool_), np.zeros(m, np.bool_)
    stack, parts = np.empty(m, np.int32), 0
    for seed in range(m):
        if part[seed] >= 0:
            continue
        part[seed], stack[0], depth, members, turned = parts, seed, 1, 0, 0
        while depth > 0:
            depth -= 1
            f = stack[depth]
            members += 1
            turned += 1 if over[f] else 0
            for k in range(3):
                mate = mates[3 * f + k]
                if mate < 0:
                    continue
                g = mate // 3
                wanted = over[f] != (faces[f, k] == faces[g, mate % 3])
                if part[g] < 0:
                    part[g], over[g] = parts, wanted
                    stack[depth] = g
                    depth += 1
                elif over[g] != wanted:
                    conflict[parts] = True
        invert[parts] = 2 * turned > members  # most faces are right as they came
        parts += 1
    for f in range(m):
        over[f] ^= invert[part[f]]
    return part, over, conflict[:parts]


@njit(cache=True, nogil=True)
def _mates_after_turning(mates, over):  # type: ignore[no-untyped-def]
    """Half-edge numbers once the marked faces run a, c, b: edge k becomes edge 2 - k."""
    out = np.empty_like(mates)
    for h in range(len(mates)):
        f, k = h // 3, h % 3
        g, j = mates[h] // 3, mates[h] % 3
        here = 3 * f + (2 - k if over[f] else k)
        out[here] = mates[h] if mates[h] < 0 else 3 * g + (2 - j if over[g] else j)
    return out


@njit(cache=True, nogil=True)
def _pair_crowded(vertices, faces, mates, order, starts, over, part):  # type: ignore[no-untyped-def]
    """Pair the faces round an edge of many by the material between them, where as many run up as down: pairs made.

    Seen along the edge, material lies clockwise of a face that runs with it and anticlockwise of one that runs against
    it; two back-to-back faces have their material away from each other.
    """
    made = 0
    for g in range(len(starts) - 1):
        lo, hi = starts[g], starts[g + 1]
        c = hi - lo
        if c <= 2 or c % 2:
            continue
        half, up, angle = np.empty(c, np.int64), np.empty(c, np.bool_), np.empty(c)
        f = order[lo] // 3
        k = order[lo] % 3
        k = 2 - k if over[f] else k
        low, high = faces[f, k], faces[f, (k + 1) % 3]
        if low > high:
            low, high = high, low
        ax, ay, az = vertices[high] - vertices[low]
        sx, sy, sz = (0.0, -az, ay) if abs(ax) <= abs(ay) and abs(ax) <= abs(az) else (-az, 0.0, ax)
        if abs(az) < abs(ax) and abs(az) < abs(ay):
            sx, sy, sz = -ay, ax, 0.0
        long = np.sqrt(ax * ax + ay * ay + az * az)
        if long == 0.0:
            continue
        tx, ty, tz = (ay * sz - az * sy) / long, (az * sx - ax * sz) / long, (ax * sy - ay * sx) / long
        ups = 0
        for i in range(c):
            f, k = order[lo + i] // 3, order[lo + i] % 3
            k = 2 - k if over[f] else k
            half[i] = 3 * f + k
            up[i] = faces[f, k] == low
            ups += 1 if up[i] else 0
            px, py, pz = vertices[faces[f, (k + 2) % 3]] - vertices[low]
            angle[i] = np.arctan2(px * tx + py * ty + pz * tz, px * sx + py * sy + pz * sz)
        if 2 * ups != c:
            continue
        rank = np.arange(c)  # by falling angle; at the same angle faces that run down come first
        for i in range(1, c):
            j = i
            while j > 0:
                p, q = rank[j - 1], rank[j]
                if angle[p] > angle[q] or (angle[p] == angle[q] and (up[q] or not up[p])):
                    break
                rank[j - 1], rank[j] = q, p
                j -= 1
        waiting, free = np.empty(c, np.int64), np.ones(c, np.bool_)
        for any_part in (False, True):  # first within each part, so that bodies that touch or overlap stay apart
            depth = 0
            for i in range(2 * c):
                r = rank[i % c]
                if not free[r]:
                    continue
                if up[r]:
                    if i < c:
                        waiting[depth] = r
                        depth += 1
                    continue
                d = depth - 1
                while d >= 0 and not any_part and part[half[waiting[d]] // 3] != part[half[r] // 3]:
                    d -= 1
                if d < 0:
                    continue
                w = waiting[d]
                for k in range(d, depth - 1):
                    waiting[k] = waiting[k + 1]
                depth -= 1
                free[r], free[w] = False, False
                mates[half[r]], mates[half[w]] = half[w], half[r]
                made += 1
    return made


@njit(cache=True, nogil=True)
def _fans(faces, twins):  # type: ignore[no-untyped-def]
    """Number the fans of faces round vertices, joined across twins: (corner -> fan, vertex of each fan)."""
    m = len(faces)
    root = np.arange(3 * m).astype(np.int32)
    for h in range(3 * m):
        t = twins[h]
        if t < 0:
            continue
        f, k, g, j = h // 3, h % 3, t // 3, t % 3
        a, b = 3 * f + k, 3 * g + (j + 1) % 3
        if faces[f, k] != faces[g, (j + 1) % 3]:
            b = 3 * g + j
        while root[a] != a:
            root[a] = root[root[a]]
            a = root[a]
        while root[b] != b:
            root[b] = root[root[b]]
            b = root[b]
        if a != b:
            root[max(a, b)] = min(a, b)
    number, vertex, count = np.full(3 * m, -1, np.int32), np.empty(3 * m, np.int32), 0
    corner = np.empty((m, 3), np.int32)
    for h in range(3 * m):
        a = h
        while root[a] != a:
            a = root[a]
        if number[a] < 0:
            number[a] = count
            vertex[count] = faces[h // 3, h % 3]
            count += 1
        corner[h // 3, h % 3] = number[a]
    return corner, vertex[:count]


def topology(vertices: FloatArray, faces: IntArray) -> Topology:
    """Find how the faces of a welded mesh meet and turn them one way, part by part.

    A part is what hangs together by edges of two faces, and by edges of more where their faces can be paired by the
    material between them. Most faces of a part keep their turning.
    """
    m = len(faces)
    order, starts = edge_groups(faces, len(vertices))
    mates = _pairs(order, starts, m)
    part, over, conflict = _wind(faces, mates)
    turned = _turned(faces, over)
    if over.any():
        mates = _mates_after_turning(mates, over)
    if bool((mates == CROWDED).any()) and _pair_crowded(vertices, turned, mates, order, starts, over, part):
        part, again, conflict = _wind(turned, mates)
        turned, over = _turned(turned, again), over ^ again
        if again.any():
            mates = _mates_after_turning(mates, again)
    crowded = mates == CROWDED
    return Topology(turned, np.maximum(mates, OPEN), crowded, part, conflict, over)


def _turned(faces: IntArray, over: npt.NDArray[np.bool_]) -> IntArray:
    if not over.any():
        return faces
    out = faces.copy()
    out[over, 1], out[over, 2] = faces[over, 2], faces[over, 1]
    return out


def split_fans(vertices: FloatArray, faces: IntArray, twins: IntArray) -> tuple[FloatArray, IntArray]:
    """The same triangles, each fan round a vertex with a vertex of its own, so that parts touch nowhere."""
    corner, vertex = _fans(faces, twins)
    return vertices[vertex], corner


@njit(cache=True, nogil=True)
def part_sums(vertices, faces, part, parts):  # type: ignore[no-untyped-def]
    """Signed volume and area of each part (volume means something for closed parts only): (parts, 2).

    Volumes are taken about the first face's first corner.
    """
    out = np.zeros((parts, 2))
    x, y, z = vertices[:, 0], vertices[:, 1], vertices[:, 2]
    o = faces[0, 0] if len(faces) else 0
    for f in range(len(faces)):
        i, j, k = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy, uz = x[j] - x[i], y[j] - y[i], z[j] - z[i]
        wx, wy, wz = x[k] - x[i], y[k] - y[i], z[k] - z[i]
        nx, ny, nz = uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx
        out[part[f], 0] += ((x[i] - x[o]) * nx + (y[i] - y[o]) * ny + (z[i] - z[o]) * nz) / 6
        out[part[f], 1] += 0.5 * np.sqrt(nx * nx + ny * ny + nz * nz)
    return out
