"""Read PLY: the common layout (scalar vertices, then faces) fast, in text or binary."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray

_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    scalars: tuple[tuple[str, str], ...]
    lists: tuple[tuple[str, str, str], ...]


def read_ply(data: bytes, source: str) -> tuple[FloatArray, IntArray] | None:
    """Vertices (n, 3) and faces (m, 3), polygons as fans; None for a layout that this reader does not know.

    Raises PatternError for a header or body that is broken.
    """
    end = data.find(b"end_header")
    if data[:3] != b"ply" or end < 0:
        raise PatternError(f"{source}: no PLY header. Is it another format under this name?")
    start = data.index(b"\n", end) + 1 if b"\n" in data[end : end + 14] else end + 11
    kind, elements = _header(data[:end].decode("ascii", "replace"))
    plain = len(elements) >= 2 and elements[0].name == "vertex" and not elements[0].lists
    plain = plain and elements[1].name == "face" and len(elements[1].lists) == 1 and not elements[1].scalars
    names = [name for name, _ in elements[0].scalars] if elements else []
    if not plain or not {"x", "y", "z"} <= set(names):
        return None
    vertex, face = elements[0], elements[1]
    if kind == "ascii":
        return _text_body(data, start, vertex, face, names, source)
    order = "<" if kind == "binary_little_endian" else ">"
    return _binary_body(data, start, vertex, face, order, source)


def _header(text: str) -> tuple[str, list[_Element]]:
    kind, elements = "", list[_Element]()
    for line in text.splitlines():
        words = line.split()
        if words[:1] == ["format"] and len(words) > 1:
            kind = words[1]
        elif words[:1] == ["element"] and len(words) == 3 and words[2].isdigit():
            elements.append(_Element(words[1], int(words[2]), (), ()))
        elif words[:1] == ["property"] and elements:
            e = elements[-1]
            if words[1:2] == ["list"] and len(words) == 5:
                elements[-1] = _Element(e.name, e.count, e.scalars, (*e.lists, (words[4], words[2], words[3])))
            elif len(words) == 3:
                elements[-1] = _Element(e.name, e.count, (*e.scalars, (words[2], words[1])), e.lists)
    return kind, elements


def _text_body(
    data: bytes, start: int, vertex: _Element, face: _Element, names: list[str], source: str
) -> tuple[FloatArray, IntArray]:
    from shellgen.pattern.text_numbers import numbers

    text = np.frombuffer(data, np.uint8)
    width = len(names)
    points, at = numbers(text, start, vertex.count * width)
    if len(points) < vertex.count * width or at < 0:
        raise PatternError(f"{source}: {vertex.count} vertices promised, the text breaks off. Export it again.")
    rest, _ = numbers(text, at, (len(data) - at) // 2 + 1)
    xyz = points.reshape(-1, width)[:, [names.index(axis) for axis in "xyz"]]
    return np.ascontiguousarray(xyz), _fans(rest, face.count, source)


def _binary_body(
    data: bytes, start: int, vertex: _Element, face: _Element, order: str, source: str
) -> tuple[FloatArray, IntArray] | None:
    try:
        record = np.dtype([(name, order + _TYPES[kind]) for name, kind in vertex.scalars])
        _, length_kind, index_kind = face.lists[0]
        length, index = np.dtype(order + _TYPES[length_kind]), np.dtype(order + _TYPES[index_kind])
    except (KeyError, ValueError):
        return None
    faces_at = start + vertex.count * record.itemsize
    if faces_at > len(data):
        raise PatternError(f"{source}: {vertex.count} vertices promised, the file ends. Copy or export it again.")
    rows = np.frombuffer(data, record, vertex.count, start)
    xyz = np.column_stack([rows[axis] for axis in "xyz"]).astype(np.float64)
    threes = np.dtype([("count", length), ("index", index, 3)])
    if faces_at + face.count * threes.itemsize <= len(data):
        listed = np.frombuffer(data, threes, face.count, faces_at)
        if np.all(listed["count"] == 3):
            return xyz, _within_int32(listed["index"].astype(np.int64), source)
    return xyz, _fans(_unpacked(data, faces_at, face.count, length, index, source), face.count, source)


def _unpacked(
    data: bytes, at: int, count: int, length: np.dtype[np.generic], index: np.dtype[np.generic], source: str
) -> FloatArray:
    """Face lists of mixed lengths as one run of numbers: count, indices, count, indices, ..."""
    runs = []
    for _ in range(count):
        n = int(np.frombuffer(data, length, 1, at)[0]) if at + length.itemsize <= len(data) else -1
        end = at + length.itemsize + n * index.itemsize
        if n < 0 or end > len(data):
            raise PatternError(f"{source}: {count} faces promised, the file ends before. Copy or export it again.")
        runs.append(np.append(float(n), np.frombuffer(data, index, n, at + length.itemsize)))
        at = end
    return np.concatenate(runs) if runs else np.empty(0)


@njit(cache=True, nogil=True)
def _fan_kernel(run, count, out):  # type: ignore[no-untyped-def]
    at, made = 0, 0
    for _ in range(count):
        if at >= len(run):
            return -1
        n = int(run[at])
        if n < 0 or at + 1 + n > len(run):
            return -1
        for k in range(n - 2):
            if made < len(out):
                out[made, 0] = int(run[at + 1])
                out[made, 1] = int(run[at + 2 + k])
                out[made, 2] = int(run[at + 3 + k])
            made += 1
        at += 1 + n
    return made


def _fans(run: FloatArray, count: int, source: str) -> IntArray:
    """Triangles of `count` polygons written as count, indices, count, indices, ..."""
    if count and len(run) >= 4 * count and np.all(run[: 4 * count : 4] == 3):
        return _within_int32(run[: 4 * count].reshape(-1, 4)[:, 1:].astype(np.int64), source)
    out = np.empty((len(run), 3), np.int64)
    made = _fan_kernel(run, count, out)
    if made < 0:
        raise PatternError(f"{source}: {count} faces promised, the file ends or breaks before. Export it again.")
    return _within_int32(out[:made], source)


def _within_int32(faces: npt.NDArray[np.int64], source: str) -> IntArray:
    if len(faces) and (faces.max() > 2**31 - 1 or faces.min() < 0):
        raise PatternError(f"{source}: a face names vertex {int(faces.max())} or one below 0. Export the mesh again.")
    return np.ascontiguousarray(faces, np.int32)
