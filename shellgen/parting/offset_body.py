"""The offset body D: the pattern grown by the rubber's thickness, as one closed mesh that is quick to look through.

Works on scans with holes, flipped faces and loose bodies, because only the unsigned distance to the surface is read:
the surface is sampled, every sample stamps its distance into the voxels around it, the outside is flooded from a
corner, and what the flood does not reach is solid. Holes up to twice the thickness close by themselves; wider ones are
closed by a wider barrier where the solid would otherwise be hollow though the pattern's volume says it is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int32]
VOXELS_ALONG = 120
SAMPLE_SPACING = 0.6  # in voxels: moves the surface by at most spacing²/(4·thickness)
BAND = 1.8  # in voxels: how far beyond the thickness distances are kept; a crossed voxel edge needs 1


@dataclass(frozen=True, slots=True, eq=False)
class OffsetBody:
    """The pattern grown by a ball, as a closed mesh with outward normals (mold frame).

    vertices_mm : (n, 3) float64, faces : (m, 3) int32. volume_mm3 : enclosed, the board not considered.
    thickness_mm : the ball's radius, at least 1.3 voxels. voxel_mm : cell of the distance field. sample_error_mm : bound
    on how far sampling moved the surface inwards. closed_mm : the widest hole that was bridged.
    """

    vertices_mm: FloatArray
    faces: IntArray
    volume_mm3: float
    thickness_mm: float
    voxel_mm: float
    sample_error_mm: float
    closed_mm: float


@njit(cache=True, nogil=True)
def _stamp(
    vertices: FloatArray, faces: IntArray, origin: FloatArray, voxel: float, spacing: float, reach: float, field: Any, seen: Any
) -> None:
    """Lower `field` (squared distances [voxel²], float32) around samples of every triangle, one sample per cell of `seen`."""
    nx, ny, nz = field.shape
    scale = 1.0 / voxel
    cells = 1.0 / spacing
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        longest = 0.0
        for e in range(3):
            p, q = (a, b) if e == 0 else ((b, c) if e == 1 else (c, a))
            d = 0.0
            for k in range(3):
                d += (vertices[p, k] - vertices[q, k]) ** 2
            longest = max(longest, d)
        steps = max(1, int(np.ceil(np.sqrt(longest) / (1.5 * spacing))))
        for i in range(steps):
            for j in range(2 * (steps - i) - 1):
                flip = j % 2
                u = (i + (1.0 + flip) / 3.0) / steps
                v = (j // 2 + (1.0 + flip) / 3.0) / steps
                w = 1.0 - u - v
                x = (w * vertices[a, 0] + u * vertices[b, 0] + v * vertices[c, 0] - origin[0]) * scale
                y = (w * vertices[a, 1] + u * vertices[b, 1] + v * vertices[c, 1] - origin[1]) * scale
                z = (w * vertices[a, 2] + u * vertices[b, 2] + v * vertices[c, 2] - origin[2]) * scale
                si, sj, sk = int(x * voxel * cells), int(y * voxel * cells), int(z * voxel * cells)
                if seen[si, sj, sk]:
                    continue
                seen[si, sj, sk] = True
                for vi in range(max(0, int(np.ceil(x - reach))), min(nx - 1, int(x + reach)) + 1):
                    dx = (vi - x) ** 2
                    span_y = np.sqrt(max(0.0, reach * reach - dx))
                    for vj in range(max(0, int(np.ceil(y - span_y))), min(ny - 1, int(y + span_y)) + 1):
                        dxy = np.float32(dx + (vj - y) ** 2)
                        span_z = np.sqrt(max(0.0, reach * reach - dxy))
                        z32 = np.float32(z)
                        for vk in range(max(0, int(np.ceil(z - span_z))), min(nz - 1, int(z + span_z)) + 1):
                            dz = np.float32(vk) - z32
                            field[vi, vj, vk] = min(field[vi, vj, vk], dxy + dz * dz)


@njit(cache=True, nogil=True)
def _net(phi: Any, index: Any, vertices: FloatArray, quads: IntArray) -> tuple[int, int]:
    """Surface net of phi = 0: a vertex per mixed cell, a quad per crossed voxel edge. Counts only where arrays are empty."""
    nx, ny, nz = phi.shape
    count = 0
    for i in range(nx - 1):
        for j in range(ny - 1):
            for k in range(nz - 1):
                inside = 0
                for a in range(8):
                    if phi[i + (a >> 2), j + ((a >> 1) & 1), k + (a & 1)] < 0:
                        inside += 1
                if inside == 0 or inside == 8:
                    continue
                index[i, j, k] = count
                if vertices.shape[0] > 0:
                    sx, sy, sz, n = 0.0, 0.0, 0.0, 0
                    for a in range(8):
                        for bit in range(3):
                            b = a | (1 << bit)
                            if b == a:
                                continue
                            pa = phi[i + (a >> 2), j + ((a >> 1) & 1), k + (a & 1)]
                            pb = phi[i + (b >> 2), j + ((b >> 1) & 1), k + (b & 1)]
                            if (pa < 0) == (pb < 0):
                                continue
                            t = pa / (pa - pb)
                            sx += (a >> 2) + t * ((b >> 2) - (a >> 2))
                            sy += ((a >> 1) & 1) + t * (((b >> 1) & 1) - ((a >> 1) & 1))
                            sz += (a & 1) + t * ((b & 1) - (a & 1))
                            n += 1
                    vertices[count, 0] = i + sx / n
                    vertices[count, 1] = j + sy / n
                    vertices[count, 2] = k + sz / n
                count += 1
    sides = 0
    for i in range(1, nx - 1):
        for j in range(1, ny - 1):
            for k in range(1, nz - 1):
                here = phi[i, j, k] < 0
                for axis in range(3):
                    there = phi[i + (axis == 0), j + (axis == 1), k + (axis == 2)] < 0
                    if here == there:
                        continue
                    if quads.shape[0] > 0:
                        if axis == 0:
                            p, q = index[i, j - 1, k - 1], index[i, j, k - 1]
                            r, s = index[i, j, k], index[i, j - 1, k]
                        elif axis == 1:
                            p, q = index[i - 1, j, k - 1], index[i - 1, j, k]
                            r, s = index[i, j, k], index[i, j, k - 1]
                        else:
                            p, q = index[i - 1, j - 1, k], index[i, j - 1, k]
                            r, s = index[i, j, k], index[i - 1, j, k]
                        quads[sides, 0] = p
                        quads[sides, 1] = q if here else s
                        quads[sides, 2] = r
                        quads[sides, 3] = s if here else q
                    sides += 1
    return count, sides


def _flooded(passable: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """What a flood from the first corner reaches through the voxels that let it pass."""
    from scipy.ndimage import label

    labels, _ = label(passable)
    return np.asarray(labels == labels[0, 0, 0])


def _solid(near: npt.NDArray[np.bool_], radius: float, volume: float | None) -> tuple[npt.NDArray[np.bool_], float]:
    """The voxels of the solid, and how far [voxel] the barrier had to be widened to keep the flood out.

    near : within `radius` of the surface. volume : of the pattern [voxel], None where unknown. The core of a sound solid,
    deeper than the radius, holds about the volume less half of the near voxels: less than half of that is a leak.
    """
    from scipy.ndimage import distance_transform_edt

    solid = ~_flooded(~near)
    core = np.count_nonzero(solid & ~near)
    expected = 0.0 if volume is None else volume - np.count_nonzero(near) / 2
    if volume is None or expected < 0.05 * volume or core >= 0.5 * expected:
        return solid, 0.0
    away = distance_transform_edt(~near)
    wider = radius
    while 2 * (radius + wider) < max(near.shape) / 2:
        outside = _flooded(away > wider)
        outside |= (distance_transform_edt(~outside) <= wider) & ~near
        if np.count_nonzero(~outside & ~near) >= 0.5 * expected:
            return ~outside, float(wider)
        wider *= 1.5
    return solid, 0.0


def offset_body(
    vertices: FloatArray, faces: IntArray, *, thickness_mm: float, volume_mm3: float | None = None, voxels_along: int = VOXELS_ALONG
) -> OffsetBody:
    """Grow any mesh by `thickness_mm`.

    vertices : (n, 3) float64 [mm], faces : (m, 3) int, watertight or not. volume_mm3 : the pattern's volume where it is
    known; where the solid found is too hollow for it, wider holes are bridged. voxels_along : cells on the longest side.

    Raises
    ------
    PatternError
        If there is no triangle.
    """
    from shellgen.errors import PatternError

    if len(faces) == 0:
        raise PatternError("the pattern has no triangles, so there is nothing to part")
    vertices = np.ascontiguousarray(vertices, np.float64)
    faces = np.ascontiguousarray(faces, np.int32)
    used = vertices[np.unique(faces)]
    low, high = used.min(0), used.max(0)
    voxel = float((high - low).max() + 2 * thickness_mm) / voxels_along
    radius = max(thickness_mm / voxel, 1.3)
    reach = radius + BAND
    origin = low - (np.ceil(reach) + 2.382) * voxel
    shape = np.ceil((high - origin) / voxel + reach + 3.0).astype(int)
    field = np.full(shape, np.float32((reach + 1) ** 2), np.float32)
    seen = np.zeros(np.ceil(shape / SAMPLE_SPACING).astype(int) + 1, np.bool_)
    _stamp(vertices, faces, origin, voxel, SAMPLE_SPACING * voxel, reach, field, seen)
    phi = np.sqrt(field) - np.float32(radius)
    solid, wider = _solid(phi < 0, radius, None if volume_mm3 is None else volume_mm3 / voxel**3)
    np.clip(phi, -1.0, BAND, out=phi)
    phi[solid & (phi >= 0)] = -1.0
    index = np.zeros(phi.shape, np.int32)
    count, sides = _net(phi, index, np.empty((0, 3)), np.empty((0, 4), np.int32))
    points, quads = np.empty((count, 3)), np.empty((sides, 4), np.int32)
    _net(phi, index, points, quads)
    points = points * voxel + origin
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return OffsetBody(
        vertices_mm=points,
        faces=np.ascontiguousarray(triangles),
        volume_mm3=float(np.einsum("ij,ij->", a - low, np.cross(b - low, c - low)) / 6),
        thickness_mm=radius * voxel,
        voxel_mm=voxel,
        sample_error_mm=float((SAMPLE_SPACING * voxel) ** 2 / (4 * radius * voxel)),
        closed_mm=2 * (radius + wider) * voxel,
    )
