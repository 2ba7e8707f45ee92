"""Cuts a solid to its piece's cell: what lies above the parting, for every kind of parting.

Planes cut exactly. A stepped parting is triangulated once: one half loses all that lies below it, the other keeps just
that, turned over, so that both mating faces are made of the same triangles.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import manifold3d as m3
import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.triangulate import solid_under
from shellgen.errors import KernelError
from shellgen.parting.cells import TURN_OVER
from shellgen.parting.surface import Parting, PlaneParting, PlanesParting, SteppedParting, ValleyParting
from shellgen.pattern.pattern import IntArray

COARSER = 2.5  # a stepped mating face is the same triangles on both sides: they may be this much coarser than skins
DEEP_MM = 1e4  # how far down the solid under a parting reaches: below every piece


def lowest_mm(parting: Parting) -> float:
    """The lowest height of a parting, at most 0."""
    if isinstance(parting, PlanesParting):
        return parting.low_mm
    if isinstance(parting, SteppedParting):
        heights = parting.surface.heights_mm
        return min(float(-heights.max() if parting.over else heights.min()), 0.0)
    return 0.0


def highest_mm(parting: Parting) -> float:
    """The greatest height of a stepped parting, at least 0; 0 for planes, which only lean outwards."""
    if isinstance(parting, SteppedParting):
        heights = parting.surface.heights_mm
        return max(float(-heights.min() if parting.over else heights.max()), 0.0)
    return 0.0


def half_space(normal: tuple[float, float, float], offset_mm: float) -> m3.Manifold:
    """All that lies on the far side of a plane, as a block that reaches beyond every piece. normal : unit."""
    z = np.asarray(normal, float)
    x = np.cross(z, (0.0, 1.0, 0.0) if abs(z[1]) < 0.9 else (1.0, 0.0, 0.0))
    x /= np.linalg.norm(x)
    frame = np.column_stack([x, np.cross(z, x), z, z * (offset_mm - DEEP_MM)])
    return m3.Manifold.cube((2 * DEEP_MM, 2 * DEEP_MM, DEEP_MM)).translate((-DEEP_MM, -DEEP_MM, 0.0)).transform(frame)


def outside_cell(parting: Parting, tolerance_mm: float, overlap_mm: float = 0.0) -> list[m3.Manifold] | None:
    """Solids that together hold all below a parting, to be cut off along with the rest; None if it takes its own cut.

    overlap_mm : how much deeper the cut is made, but not at planes that a neighbour slides along, for it would not
    get past. Raises KernelError for a kind of parting that is not known here.
    """
    if isinstance(parting, PlaneParting):
        return [half_space((0.0, 0.0, 1.0), -overlap_mm)]
    if isinstance(parting, ValleyParting):
        lean = float(np.hypot(1.0, parting.slope))
        return [half_space((s * parting.slope / lean, 0.0, 1.0 / lean), -overlap_mm) for s in (-1.0, 1.0)]
    if isinstance(parting, PlanesParting):
        found = []
        for k, (a, b, c) in enumerate(parting.planes):
            lean = float(np.sqrt(1.0 + a * a + b * b))
            deeper = 0.0 if k < len(parting.slid) and parting.slid[k] else overlap_mm
            found.append(half_space((-a / lean, -b / lean, 1.0 / lean), c / lean - deeper))
        return found + [half_space((a, b, 0.0), -c - overlap_mm) for a, b, c in parting.sides]
    if isinstance(parting, SteppedParting):
        if parting.over:
            return None
        vertices, faces = _under(parting.surface, tolerance_mm)
        return [_solid(vertices - (0.0, 0.0, overlap_mm), faces)]
    raise KernelError(f"no cut is known for a parting of kind {type(parting).__name__}")


def cut_to_cell(
    solid: m3.Manifold,
    parting: Parting,
    tolerance_mm: float,
    *,
    overlap_mm: float = 0.0,
    more: Sequence[m3.Manifold] = (),
) -> m3.Manifold:
    """What of a solid lies above the parting, in the piece's pull frame, less all of `more`.

    overlap_mm : how much deeper the cut is made, for shares that are united again. One boolean does both, which takes
    half the time of two. Raises KernelError for a kind of parting that this kernel does not know.
    """
    below = outside_cell(parting, tolerance_mm, overlap_mm)
    if below is None and isinstance(parting, SteppedParting):
        vertices, faces = _under(parting.surface, tolerance_mm)
        solid ^= _solid(vertices * np.diag(TURN_OVER)[:3] - (0.0, 0.0, overlap_mm), faces)
    return m3.Manifold.batch_boolean([solid, *(below or ()), *more], m3.OpType.Subtract)


@lru_cache(maxsize=2)
def _under(surface: Envelope, tolerance_mm: float) -> tuple[FloatArray, IntArray]:
    """The one triangulation of a stepped parting, as a solid that reaches far down; the same object, the same mesh."""
    lowest = float(surface.heights_mm.min()) - DEEP_MM
    return solid_under(surface, from_mm=lowest, tolerance_mm=COARSER * tolerance_mm)


def _solid(vertices_mm: FloatArray, faces: IntArray) -> m3.Manifold:
    return m3.Manifold(m3.Mesh64(np.array(vertices_mm, float, order="C"), np.array(faces, np.uint64, order="C")))
