"""Read OBJ: vertices and polygons; textures, normals and groups are passed over."""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.text_numbers import POWERS, number_at


@njit(cache=True, nogil=True)
def _scan(text, vertices, faces, powers):  # type: ignore[no-untyped-def]
    """Fill vertices and fans line by line: (vertices, triangles, byte of the first broken line or -1)."""
    n, at, nv, nf = len(text), 0, 0, 0
    while at < n:
        while at < n and text[at] <= 32:
            at += 1
        line = at
        if at + 1 < n and text[at] == 118 and (text[at + 1] == 32 or text[at + 1] == 9):
            at += 1
            for k in range(3):
                while at < n and (text[at] == 32 or text[at] == 9):
                    at += 1
                value, after = number_at(text, at, powers)
                if after < 0:
                    return nv, nf, line
                vertices[nv, k] = value
                at = after
            nv += 1
        elif at + 1 < n and text[at] == 102 and (text[at + 1] == 32 or text[at + 1] == 9):
            at += 1
            corner, first, last = 0, 0, 0
            while True:
                while at < n and (text[at] == 32 or text[at] == 9 or text[at] == 13):
                    at += 1
                if at >= n or text[at] == 10 or text[at] == 35:
                    break
                value, after = number_at(text, at, powers)
                if after < 0 or value == 0 or not abs(value) < 2e9:
                    return nv, nf, line
                index = int(value) - 1 if value > 0 else nv + int(value)
                at = after
                while at < n and text[at] > 32:
                    at += 1
                if corner == 0:
                    first = index
                elif corner > 1:
                    faces[nf, 0], faces[nf, 1], faces[nf, 2] = first, last, index
                    nf += 1
                last = index
                corner += 1
        while at < n and text[at] != 10:
            at += 1
    return nv, nf, -1


def read_obj(data: bytes, source: str) -> tuple[FloatArray, IntArray]:
    """Vertices (n, 3) and faces (m, 3), polygons as fans, all objects of the file together.

    Raises PatternError where a vertex or face line cannot be read.
    """
    if b"\\" in data:
        data = data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")
    text = np.frombuffer(data, np.uint8)
    vertices = np.empty((len(data) // 7 + 1, 3))  # "v 0 0 0" is the shortest vertex line
    faces = np.empty((len(data) // 2 + 1, 3), np.int32)
    nv, nf, broken = _scan(text, vertices, faces, POWERS)
    if broken >= 0:
        line = data.count(b"\n", 0, broken) + 1
        shown = data[broken : broken + 60].split(b"\n")[0].decode("ascii", "replace").strip()
        raise PatternError(f"{source}: line {line} cannot be read: '{shown}'. Export the mesh again.")
    return vertices[:nv].copy(), faces[:nf].copy()
