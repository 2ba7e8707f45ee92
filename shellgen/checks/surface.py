"""Distances to a triangle mesh: samples in a search tree, then exact distances to the nearest triangles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

SAMPLES = 100_000  # about as many samples a surface gets at most beyond one per triangle
NEAR = 10  # triangles that an exact distance is taken to


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A mesh with samples on it.

    vertices (n, 3) and faces (m, 3) as given; samples (k, 3), the triangle each lies on (k,) and the area it stands
    for (k,) [mm2]; spacing_mm : no point of the surface is farther than about that from a sample.
    """

    vertices: FloatArray
    faces: IntArray
    samples: FloatArray
    triangles: IntArray
    areas: FloatArray
    spacing_mm: float
    tree: Any

    @classmethod
    def of(cls, vertices_mm: FloatArray, faces: IntArray, spacing_mm: float = 1.5) -> Surface:
        """Sample a mesh: one point in small triangles, a lattice in large ones."""
        from scipy.spatial import cKDTree

        a, b, c = (np.asarray(vertices_mm, float)[faces[:, i]] for i in range(3))
        area = 0.5 * np.linalg.norm(cross(b - a, c - a), axis=1)
        spacing = max(spacing_mm, float(np.sqrt(area.sum() / SAMPLES)))
        samples, triangles, areas = _lattice(a, b, c, area, spacing)
        tree = cKDTree(samples, leafsize=32, balanced_tree=False, compact_nodes=False)
        return cls(vertices_mm, faces, samples, triangles, areas, spacing, tree)

    def rough_distance(self, points: FloatArray, within_mm: float = np.inf) -> FloatArray:
        """Distances (k,) to the nearest sample: never too small, and too large by less than the spacing.

        Infinite where there is no sample within `within_mm`, which spares long searches.
        """
        if not len(points):
            return np.empty(0)
        found: FloatArray = self.tree.query(points, distance_upper_bound=within_mm, workers=2)[0]
        return found

    def distance(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distances (k,) to the nearest of several triangles, and the foot points (k, 3)."""
        if not len(points):
            return np.empty(0), np.empty((0, 3))
        count = min(NEAR, len(self.samples))
        _, nearest = self.tree.query(points, k=count, workers=2)
        triangles = self.triangles[np.asarray(nearest).reshape(len(points), count)]
        repeated = np.repeat(points, count, axis=0)
        feet = closest_on_triangles(repeated, self.vertices[self.faces[triangles.ravel()]])
        lengths = np.linalg.norm(repeated - feet, axis=1).reshape(len(points), count)
        best = lengths.argmin(1)
        rows = np.arange(len(points))
        return lengths[rows, best], feet.reshape(len(points), count, 3)[rows, best]

    def least_distance(
        self, points: FloatArray, within_mm: float = np.inf, refined: int = 4000
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The `refined` points nearest to the surface: these points, their exact distances, their foot points.

        Points with no sample within `within_mm` are left out.
        """
        rough = self.rough_distance(points, within_mm)
        points, rough = points[rough < np.inf], rough[rough < np.inf]
        if len(points) > refined:
            points = points[np.sort(np.argpartition(rough, refined)[:refined])]
        lengths, feet = self.distance(points)
        return points, lengths, feet

    def outside(self, points: FloatArray) -> npt.NDArray[np.bool_]:
        """Which points (k, 3) lie outside of a closed, outward wound surface.

        By the side of the nearest triangle; where several are as near (over an edge or a corner), of the one that
        faces the point most squarely.
        """
        if not len(points):
            return np.empty(0, bool)
        count = min(NEAR, len(self.samples))
        nearest = np.asarray(self.tree.query(points, k=count, workers=2)[1]).reshape(len(points), count)
        repeated = np.repeat(points, count, axis=0)
        corners = self.vertices[self.faces[self.triangles[nearest.ravel()]]]
        off = repeated - closest_on_triangles(repeated, corners)
        lengths = np.linalg.norm(off, axis=1).reshape(len(points), count)
        height = np.einsum("ij,ij->i", off, self.normals(nearest.ravel())).reshape(len(points), count)
        as_near = lengths <= lengths.min(1, keepdims=True) + 1e-6
        best = np.where(as_near, np.abs(height), -1.0).argmax(1)
        found: npt.NDArray[np.bool_] = height[np.arange(len(points)), best] > 0
        return found

    def normals(self, which: IntArray) -> FloatArray:
        """Unit normals (k, 3) of the triangles that these samples (k,) lie on."""
        corners = self.vertices[self.faces[self.triangles[which]]]
        square = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(square, axis=1)
        found: FloatArray = square / np.where(length > 0, length, 1.0)[:, None]
        return found


def _lattice(
    a: FloatArray, b: FloatArray, c: FloatArray, area: FloatArray, spacing: float
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Rows of points along each triangle's longest side, no coarser than the spacing; one point where it is small."""
    sides = np.stack([((b - a) ** 2).sum(1), ((c - b) ** 2).sum(1), ((a - c) ** 2).sum(1)], 1)
    longest = sides.argmax(1)
    corners = np.stack([a, b, c], 1)
    each = np.arange(len(a))
    start, end = corners[each, longest], corners[each, (longest + 1) % 3]
    top = corners[each, (longest + 2) % 3]
    length = np.sqrt(sides[each, longest])
    height = 2.0 * area / np.where(length > 0, length, 1.0)
    rows = np.maximum(1, np.ceil(height / spacing)).astype(np.int64)
    triangle = np.repeat(each, rows)
    row = np.arange(len(triangle)) - np.repeat(np.cumsum(rows) - rows, rows)
    up = (row + np.where(rows[triangle] > 1, 0.5, 1 / 3)) / rows[triangle]
    columns = np.maximum(1, np.ceil(length[triangle] * (1.0 - up) / spacing)).astype(np.int64)
    cell = np.repeat(np.arange(len(triangle)), columns)
    column = np.arange(len(cell)) - np.repeat(np.cumsum(columns) - columns, columns)
    along = (column + 0.5) / columns[cell]
    t, u = triangle[cell], up[cell][:, None]
    samples = (start[t] + (end[t] - start[t]) * along[:, None]) * (1.0 - u) + top[t] * u
    areas = area[t] / np.bincount(t, minlength=len(a))[t]
    return samples, t.astype(np.int32), areas


def cross(u: FloatArray, v: FloatArray) -> FloatArray:
    """Cross products of rows (k, 3); numpy's own takes several times as long over rows of three."""
    x, y, z = u.T
    p, q, r = v.T
    return np.stack([y * r - z * q, z * p - x * r, x * q - y * p], 1)


def closest_on_triangles(points: FloatArray, corners: FloatArray) -> FloatArray:
    """Closest point (k, 3) to each point (k, 3) on its own triangle (k, 3, 3).

    The foot on the plane where it falls inside, else the nearest of the feet on the three sides.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    best = a.copy()
    least = np.full(len(points), np.inf)
    for one, other in ((a, b), (b, c), (c, a)):
        side = other - one
        square = np.einsum("ij,ij->i", side, side)
        t = np.einsum("ij,ij->i", points - one, side) / np.where(square > 0, square, 1.0)
        foot = one + np.clip(t, 0.0, 1.0)[:, None] * side
        off = points - foot
        distance = np.einsum("ij,ij->i", off, off)
        nearer = distance < least
        best[nearer], least[nearer] = foot[nearer], distance[nearer]
    normal = cross(b - a, c - a)
    square = np.einsum("ij,ij->i", normal, normal)
    within = square > 0
    for one, other in ((a, b), (b, c), (c, a)):
        within &= np.einsum("ij,ij->i", cross(other - one, points - one), normal) >= 0
    height = np.einsum("ij,ij->i", points - a, normal) / np.where(square > 0, square, 1.0)
    best[within] = points[within] - height[within, None] * normal[within]
    return best


def spread(points: FloatArray, most: int) -> FloatArray:
    """At most so many of the points, evenly through their order."""
    if len(points) <= most:
        return points
    return points[(np.arange(most) * len(points)) // most]
