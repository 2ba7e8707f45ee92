"""Read STEP: its solids, tessellated."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray

_CHORD_MM = (0.02, 0.1)  # chord error of the triangles: the longest side / 2000 within these bounds
_ANGLE_RAD = 0.25


def read_step(path: Path) -> tuple[FloatArray, IntArray]:
    """Triangles of all solids (of loose faces where there is no solid): vertices (n, 3) [mm], faces (m, 3).

    Raises PatternError if the file cannot be read or holds no shape.
    """
    import cadquery as cq

    try:
        shape = cq.importers.importStep(str(path))
        bodies = shape.solids().vals() or shape.faces().vals()
    except Exception as cause:
        raise PatternError(f"{path.name}: cannot be read as STEP ({cause}). Export it again.") from cause
    if not bodies:
        raise PatternError(f"{path.name}: holds no solid and no face. Export the pattern as a solid.")
    box = cq.Compound.makeCompound(bodies).BoundingBox()
    chord = float(np.clip(max(box.xlen, box.ylen, box.zlen) / 2000, *_CHORD_MM))
    vertices, faces, shift = [], [], 0
    for body in bodies:
        points, triangles = body.tessellate(chord, _ANGLE_RAD)
        if not triangles:
            continue
        vertices.append(np.array([p.toTuple() for p in points]))
        faces.append(np.array(triangles, np.int64) + shift)
        shift += len(points)
    if not faces:
        raise PatternError(f"{path.name}: its shapes gave no triangles. Export the pattern as a solid.")
    return np.vstack(vertices), np.vstack(faces).astype(np.int32)
