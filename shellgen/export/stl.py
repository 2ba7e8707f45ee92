"""Binary STL, written as one structured array."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

# 80 bytes that say the unit, which the format itself cannot; readers take a first word "solid" for the text form.
HEADER = b"binary STL, unit millimeter".ljust(80)
TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def write_stl(path: Path, vertices_mm: FloatArray, faces: IntArray) -> None:
    """Write a mesh as binary STL.

    path : file to write. vertices_mm : (n, 3) float [mm], rounded to float32 here. faces : (m, 3) int.
    Normals follow the right hand rule; zero where a triangle has no area. Raises OSError if it cannot be written.
    """
    corners = np.asarray(vertices_mm, np.float32)[faces]
    a, b = (corners[:, 1] - corners[:, 0]).astype(float), (corners[:, 2] - corners[:, 0]).astype(float)
    normals = np.empty((len(faces), 3))
    for i, (j, k) in enumerate(((1, 2), (2, 0), (0, 1))):
        normals[:, i] = a[:, j] * b[:, k] - a[:, k] * b[:, j]
    length = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    normals /= np.where(length > 0, length, 1.0)[:, None]
    records = np.zeros(len(faces), TRIANGLE)
    records["normal"] = normals + 0.0
    records["corners"] = corners
    with open(path, "wb") as out:
        out.write(HEADER)
        out.write(np.array(len(faces), "<u4").tobytes())
        records.tofile(out)
