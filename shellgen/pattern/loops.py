"""Open edges of a mesh, in loops."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numba import njit

from shellgen.pattern.pattern import IntArray


@njit(cache=True, nogil=True)
def _walk(faces, twins):  # type: ignore[no-untyped-def]
    n = len(twins)
    seen = np.zeros(n, np.bool_)
    vertex, begin = np.empty(n, np.int32), np.empty(n + 1, np.int32)
    count, loops = 0, 0
    for h in range(n):
        if twins[h] >= 0 or seen[h]:
            continue
        begin[loops] = count
        loops += 1
        at = h
        while not seen[at]:
            seen[at] = True
            vertex[count] = faces[at // 3, at % 3]
            count += 1
            at = 3 * (at // 3) + (at % 3 + 1) % 3
            while twins[at] >= 0:  # round the vertex to its next open edge
                at = twins[at]
                at = 3 * (at // 3) + (at % 3 + 1) % 3
    begin[loops] = count
    return vertex[:count], begin[: loops + 1]


def open_loops(faces: IntArray, twins: IntArray) -> list[IntArray]:
    """Vertex numbers round each hole, in the sense in which its faces run along it.

    faces : (m, 3), consistently turned. twins : (3 m,), -1 on open edges. No loop meets a vertex twice; loops of two
    edges close on themselves and are left out.
    """
    vertex, begin = _walk(faces, twins)
    loops: list[IntArray] = []
    for a, b in pairwise(begin):
        loops += _simple(vertex[a:b])
    return [loop for loop in loops if len(loop) > 2]


def _simple(loop: IntArray) -> list[IntArray]:
    """Cut a loop that passes a vertex more than once into loops that do not."""
    if len(np.unique(loop)) == len(loop):
        return [loop]
    out: list[IntArray] = []
    trail: list[int] = []
    place: dict[int, int] = {}
    for v in loop.tolist():
        if v in place:
            out.append(np.array(trail[place[v] :], np.int32))
            for gone in trail[place[v] + 1 :]:
                del place[gone]
            del trail[place[v] + 1 :]
        else:
            place[v] = len(trail)
            trail.append(v)
    return [*out, np.array(trail, np.int32)]
