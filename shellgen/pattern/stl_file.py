"""Read STL: binary whatever its header claims, or text."""

from __future__ import annotations

import numpy as np

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])  # 50 bytes a triangle
_HEADER = 84


def read_stl(data: bytes, source: str) -> tuple[FloatArray, IntArray]:
    """Triangles of an STL file as unwelded corners: vertices (3 m, 3), faces (m, 3).

    The file is text if it starts with "solid" and holds facets in words; else binary. A binary count that does not fit
    the file's length is ignored where the length itself is a whole number of triangles.
    Raises PatternError for a file that is cut off or is neither.
    """
    if _is_text(data):
        from shellgen.pattern.text_numbers import triples_after

        corners = triples_after(np.frombuffer(data, np.uint8), b"vertex")
        if len(corners) % 3:
            raise PatternError(f"{source}: {len(corners)} corners, no multiple of 3: it is cut off. Export it again.")
        return corners, _in_threes(len(corners))
    if len(data) < _HEADER + _RECORD.itemsize:
        raise PatternError(f"{source}: {len(data)} bytes hold no triangle. Export the mesh again.")
    said = int.from_bytes(data[80:84], "little")
    held, rest = divmod(len(data) - _HEADER, _RECORD.itemsize)
    if rest and said > held:
        raise PatternError(f"{source}: cut off (says {said} triangles, holds {held}). Copy or export it again.")
    count = held if rest == 0 or said == 0 else said
    corners = np.frombuffer(data, _RECORD, count, _HEADER)["corners"].reshape(-1, 3).astype(np.float64)
    return corners, _in_threes(len(corners))


def _is_text(data: bytes) -> bool:
    if data[:3] == b"\xef\xbb\xbf":
        data = data[3:]
    if data[:400].lstrip()[:5].lower() != b"solid":
        return False
    said = int.from_bytes(data[80:84], "little")
    if len(data) == _HEADER + _RECORD.itemsize * said:
        return False
    head = data[:4000].lower()
    return b"facet" in head or b"endsolid" in head


def _in_threes(corners: int) -> IntArray:
    return np.arange(corners, dtype=np.int32).reshape(-1, 3)
