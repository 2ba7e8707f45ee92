"""Places that the seam should not cross: which offsets of a plane keep out of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.cost import Interval
from shellgen.parting.offset_body import IntArray

Box = tuple[tuple[float, float, float], tuple[float, float, float]]
LATTICE = 12  # parts of a triangle's side that is only partly inside a box


def surface_in_box(vertices: FloatArray, faces: IntArray, box: Box) -> FloatArray:
    """Points (k, 3) of the pattern's surface inside a box (lowest corner, highest corner), mold frame.

    Vertices inside, and of triangles that only touch the box a lattice of points; so a box smaller than a twelfth of a
    triangle may be missed.
    """
    low, high = np.array(box[0]), np.array(box[1])
    corners = vertices[faces]
    touching = corners[((corners.max(1) >= low) & (corners.min(1) <= high)).all(1)]
    if len(touching) == 0:
        return np.empty((0, 3))
    inside = ((touching >= low) & (touching <= high)).all(2)
    partly = touching[~inside.all(1)]
    u, v = (g.ravel() / LATTICE for g in np.mgrid[: LATTICE + 1, : LATTICE + 1])
    weights = np.column_stack([1 - u - v, u, v])[u + v <= 1 + 1e-9]
    points = np.vstack([touching[inside.all(1)].reshape(-1, 3), (weights @ partly).reshape(-1, 3)])
    return points[((points >= low) & (points <= high)).all(1)]


def forbidden_offsets(patches: Sequence[FloatArray], normal: FloatArray) -> tuple[Interval, ...]:
    """Per patch of surface (k, 3) the offsets along `normal` at which the seam would run through it."""
    spans = ((patch @ normal) for patch in patches if len(patch))
    return tuple((float(s.min()), float(s.max())) for s in spans)


def crossed(patches: Sequence[FloatArray], normal: FloatArray, offset_mm: float) -> tuple[int, ...]:
    """Numbers (from 1) of the patches that a plane's seam runs through."""
    hits = []
    for number, patch in enumerate(patches, 1):
        if len(patch) and (patch @ normal).min() < offset_mm < (patch @ normal).max():
            hits.append(number)
    return tuple(hits)


def side_box(bounds_mm: FloatArray, side: str, share: float = 0.2) -> Box:
    """The outer `share` of the pattern's bounding box (2, 3) on a side named "+x", "-x", ... "-z"."""
    axis = "xyz".index(side[1])
    low, high = bounds_mm[0].astype(float).copy(), bounds_mm[1].astype(float).copy()
    depth = share * (high[axis] - low[axis])
    if side[0] == "+":
        low[axis] = high[axis] - depth
    else:
        high[axis] = low[axis] + depth
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])
