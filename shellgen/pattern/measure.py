"""Measure a mesh: what `start` needs to propose units, stand and mount."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.topology import OPEN, Topology, part_sums, topology
from shellgen.pattern.weld import weld

FLAT_SHARE = 0.005  # of the height: how near the lowest point counts as the base
_FLAT_COSINE = np.cos(np.radians(10.0))


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Figures of a mesh, in the unit of its vertices.

    triangles : after welding. extents, lowest, highest : (3,). area : of all triangles. volume : signed sum over closed
    bodies, each counted positive. bodies : parts that hang together by their edges; closed_bodies : those without a
    hole. open_edges : edges of one face. crowded_edges : edges of three or more faces. flipped_share : of the
    triangles, those turned against the rest of their body. collapsed, copies : triangles that are lines or doubles.
    flat_base_share : of the shadow on the xy plane, the part that is flat, faces down and lies within 0.5 % of the
    height above the lowest point. shadow : area of that shadow. level_cut : least height above the lowest point, in the
    lowest tenth, at which a level cut gives a base of 70 % of the broadest one there; 0 where the base is flat already.
    principal_axes : (3, 3), rows of unit length from the longest spread of the surface to the shortest;
    principal_spread : (3,) standard deviations along them.
    """

    triangles: int
    extents: FloatArray
    lowest: FloatArray
    highest: FloatArray
    area: float
    volume: float
    bodies: int
    closed_bodies: int
    open_edges: int
    crowded_edges: int
    flipped_share: float
    collapsed: int
    copies: int
    flat_base_share: float
    shadow: float
    level_cut: float
    principal_axes: FloatArray
    principal_spread: FloatArray


def measure(vertices: FloatArray, faces: IntArray) -> Measured:
    """Measure a mesh as it stands (z up), in its own unit.

    Raises PatternError if all triangles have collapsed.
    """
    welded = weld(vertices, faces)
    points, triangles = welded.vertices, welded.faces
    if not len(triangles):
        raise PatternError("All triangles have collapsed to points or lines. Export the mesh again.")
    top = topology(points, triangles)
    sums = part_sums(points, top.faces, top.part, top.parts)
    bare = np.bincount(top.part, (top.twins < 0).reshape(-1, 3).any(axis=1), top.parts) > 0
    low, high = points.min(0), points.max(0)
    corners = points[top.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2
    area = np.linalg.norm(normal, axis=1)
    axes, spread = _principal(corners, area)
    flat, shadow = _base(points, triangles, corners, normal, area)
    closed = sums[~bare & ~top.conflict, 0]
    return Measured(
        triangles=len(triangles),
        extents=high - low,
        lowest=low,
        highest=high,
        area=float(area.sum()),
        volume=float(np.abs(closed).sum()),
        bodies=top.parts,
        closed_bodies=len(closed),
        open_edges=int((top.twins == OPEN).sum() - top.crowded.sum()),
        crowded_edges=_edges(top, top.crowded),
        flipped_share=float(top.turned.mean()),
        collapsed=welded.collapsed,
        copies=welded.copies,
        flat_base_share=min(flat / shadow, 1.0) if shadow > 0 else 0.0,
        shadow=shadow,
        level_cut=0.0 if flat > 0.3 * shadow else _level_cut(points, triangles),
        principal_axes=axes,
        principal_spread=spread,
    )


def _edges(top: Topology, half: npt.NDArray[np.bool_]) -> int:
    """Number of edges that the marked half-edges lie on."""
    h = np.flatnonzero(half)
    ends = np.column_stack([top.faces[h // 3, h % 3], top.faces[h // 3, (h % 3 + 1) % 3]])
    return len(np.unique(np.sort(ends, axis=1), axis=0))


def _principal(corners: FloatArray, area: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Axes and spreads of the surface, exact for triangles: the mean of x x^T over each is that of its mid-edges."""
    weight = area / max(float(area.sum()), 1e-300)
    middle = (weight[:, None] * corners.mean(axis=1)).sum(axis=0)
    edges = (corners + np.roll(corners, 1, axis=1)) / 2 - middle
    scatter = np.einsum("f,fki,fkj->ij", weight / 3, edges, edges)
    values, vectors = np.linalg.eigh(scatter)
    axes = vectors[:, ::-1].T
    turn = np.sign(axes[np.arange(3), np.argmax(np.abs(axes), axis=1)])
    return axes * turn[:, None], np.sqrt(np.maximum(values[::-1], 0.0))


def _base(
    points: FloatArray, faces: IntArray, corners: FloatArray, normal: FloatArray, area: FloatArray
) -> tuple[float, float]:
    """Area of the flat base and of the shadow; the base counts either turning, since scans may be flipped."""
    low, high = points[:, 2].min(), points[:, 2].max()
    level = low + FLAT_SHARE * (high - low)
    flat = (corners[:, :, 2] <= level).all(axis=1) & (np.abs(normal[:, 2]) >= _FLAT_COSINE * area)
    return float(np.abs(normal[flat, 2]).sum()), _shadow(points, faces)


def _shadow(points: FloatArray, faces: IntArray) -> float:
    """Area of the shadow on the xy plane, from a raster of 400 nodes along the longer side."""
    from shellgen.pattern.stem import Underside

    under = Underside.of(points, faces, 400)
    return float(np.isfinite(under.heights).sum()) * under.pitch**2


def _level_cut(points: FloatArray, faces: IntArray) -> float:
    """From the underside's heights: how much of the shadow stands within each height of the lowest tenth."""
    from shellgen.pattern.stem import Underside

    low, high = points[:, 2].min(), points[:, 2].max()
    heights = np.sort(Underside.of(points, faces, 200).heights.ravel())
    within = heights[heights <= low + 0.1 * (high - low)]
    return float(within[int(0.7 * (len(within) - 1))] - low) if len(within) else 0.0
