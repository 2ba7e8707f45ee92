"""What a mesh shows a growing ball: for every vertex the window of directions it can be touched from.

The upper boundary of mesh + ball is drawn by vertices (spheres), long edges (cylinders) and long faces (planes).
A vertex of a fine mesh shows only a small patch of its sphere: the directions spanned by the normals of its faces.
Drawing that patch instead of the whole sphere is what makes the splat fast; drawing more than needed is never wrong,
because every sphere about a point of the mesh lies inside mesh + ball. Orientation of the faces is not used.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

CHORD_MM = 0.05  # how far spheres at both ends may leave an undrawn edge uncovered


def short_mm(radius_mm: float) -> float:
    """Edges up to this length need not be drawn: spheres of that radius at their ends cover them to CHORD_MM."""
    return float(np.sqrt(8.0 * radius_mm * CHORD_MM))


@dataclass(frozen=True, slots=True, eq=False)
class Facets:
    """A mesh with its windows.

    points : (n, 3) mm; normals : (n, 3) unit, sign arbitrary; window : (n,) half angle [rad], pi where unknown;
    reach_mm : (n,) longest edge at the vertex. edges : (k, 2) those that balls of `least_mm` and more leave open, each
    once, the longest first, with edge_mm : (k,) their lengths. faces : (m, 3) those that have such an edge, with
    face_mm : (m,) their longest, the longest first.
    """

    points: FloatArray
    normals: FloatArray
    window: FloatArray
    reach_mm: FloatArray
    edges: IntArray
    edge_mm: FloatArray
    faces: IntArray
    face_mm: FloatArray
    least_mm: float

    def moved(self, matrix: FloatArray) -> Facets:
        """The same mesh under a rigid 4x4 motion."""
        turn = matrix[:3, :3]
        points = np.ascontiguousarray(self.points @ turn.T + matrix[:3, 3])
        return replace(self, points=points, normals=np.ascontiguousarray(self.normals @ turn.T))

    def left_open(self, radius_mm: float) -> tuple[IntArray, IntArray]:
        """Edges (k, 2) that balls of a radius [mm] at the vertices do not cover, and faces (m, 3) that have one."""
        than_mm = short_mm(max(radius_mm, self.least_mm))
        return (
            self.edges[: int(np.searchsorted(-self.edge_mm, -than_mm))],
            self.faces[: int(np.searchsorted(-self.face_mm, -than_mm))],
        )


@njit(cache=True, nogil=True)
def _windows(points, faces, normals, window, reach):  # type: ignore[no-untyped-def]
    n = len(points)
    first = np.zeros((n, 3))
    biggest = np.zeros(n)
    spread = np.zeros((n, 3))
    unit = np.empty((len(faces), 3))
    for f in range(len(faces)):
        a, b, c = points[faces[f, 0]], points[faces[f, 1]], points[faces[f, 2]]
        u, v = b - a, c - a
        x, y, z = u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]
        size = np.sqrt(x * x + y * y + z * z)
        unit[f] = 0.0
        if size > 0.0:
            unit[f, 0], unit[f, 1], unit[f, 2] = x / size, y / size, z / size
        for k in range(3):
            i, j, l = faces[f, k], faces[f, (k + 1) % 3], faces[f, (k + 2) % 3]
            p, q, s = points[i], points[j], points[l]
            e, g = 0.0, 0.0
            for d in range(3):
                e += (q[d] - p[d]) ** 2
                g += (s[d] - p[d]) ** 2
            e, g = np.sqrt(e), np.sqrt(g)
            reach[i] = max(reach[i], e, g)
            if size > 0.0 and e > 0.0 and g > 0.0:
                # integral of the directions that the face covers around the vertex: sums to 0 where the surface is flat
                dot = 0.0
                for d in range(3):
                    dot += (q[d] - p[d]) * (s[d] - p[d]) / (e * g)
                half = 0.5 * np.arccos(min(1.0, max(-1.0, dot)))
                long = np.sqrt(max(1e-12, 2.0 + 2.0 * dot))
                for d in range(3):
                    spread[i, d] += 2.0 * np.sin(half) * ((q[d] - p[d]) / e + (s[d] - p[d]) / g) / long
            if size > biggest[i]:
                biggest[i] = size
                first[i] = unit[f]
    for f in range(len(faces)):
        for k in range(3):
            i = faces[f, k]
            dot = unit[f, 0] * first[i, 0] + unit[f, 1] * first[i, 1] + unit[f, 2] * first[i, 2]
            sign = 1.0 if dot >= 0.0 else -1.0
            for d in range(3):
                normals[i, d] += sign * unit[f, d]
    for i in range(n):
        size = np.sqrt(normals[i, 0] ** 2 + normals[i, 1] ** 2 + normals[i, 2] ** 2)
        bend = np.sqrt(spread[i, 0] ** 2 + spread[i, 1] ** 2 + spread[i, 2] ** 2)
        if size > 0.0 and bend < 0.9:  # 4 sin(phi / 2) for a ridge that turns by phi: 26 degrees; an open edge has 2
            normals[i] /= size
            window[i] = 0.0
        else:
            normals[i, 0], normals[i, 1], normals[i, 2] = 0.0, 0.0, 1.0
            window[i] = np.pi
    for f in range(len(faces)):
        for k in range(3):
            i = faces[f, k]
            if window[i] < 3.0 and unit[f, 0] ** 2 + unit[f, 1] ** 2 + unit[f, 2] ** 2 > 0.5:
                dot = abs(unit[f, 0] * normals[i, 0] + unit[f, 1] * normals[i, 1] + unit[f, 2] * normals[i, 2])
                window[i] = max(window[i], np.arccos(min(1.0, dot)))
    for i in range(n):
        if window[i] > 1.05:  # 60 degrees: the signs of the normals are no longer sure
            window[i] = np.pi


def facets(vertices_mm: FloatArray, faces: IntArray, least_mm: float = 1.0) -> Facets:
    """Windows of every vertex of a mesh (n, 3) [mm], (m, 3). Vertices without a face are left out.

    least_mm : the smallest radius that the mesh will be grown by; shorter edges are not kept for smaller ones.
    """
    points = np.ascontiguousarray(vertices_mm, np.float64)
    faces = np.ascontiguousarray(faces, np.int32)
    used = np.zeros(len(points), bool)
    used[faces.ravel()] = True
    if not used.all():
        renumber = np.cumsum(used, dtype=np.int32) - 1
        points, faces = points[used], renumber[faces]
    normals, window, reach = np.zeros_like(points), np.zeros(len(points)), np.zeros(len(points))
    _windows(points, faces, normals, window, reach)
    short = short_mm(least_mm)
    edges, edge_mm, long_faces, face_mm = _long(points, faces[(reach[faces] > short).any(axis=1)], short)
    return Facets(points, normals, window, reach, edges, edge_mm, long_faces, face_mm, least_mm)


def _long(points: FloatArray, faces: IntArray, short: float) -> tuple[IntArray, FloatArray, IntArray, FloatArray]:
    """Edges longer than a length and the faces that have one, the longest first."""
    ends = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    length = np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1)
    longest = length.reshape(-1, 3).max(axis=1) if len(faces) else np.zeros(0)
    pairs = np.sort(ends[length > short], axis=1).astype(np.int64)
    keys = np.unique(pairs[:, 0] * len(points) + pairs[:, 1])
    edges = np.column_stack([keys // len(points), keys % len(points)]).astype(np.int32)
    edge_mm = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    order, faces_first = np.argsort(-edge_mm, kind="stable"), np.argsort(-longest, kind="stable")
    faces_first = faces_first[longest[faces_first] > short]
    return edges[order], edge_mm[order], np.ascontiguousarray(faces[faces_first]), longest[faces_first]
