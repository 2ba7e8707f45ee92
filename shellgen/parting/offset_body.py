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
Field = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
VOXELS_ALONG = 120
SAMPLE_VOXELS, SAMPLE_THICKNESS = 0.6, 0.1  # spacing of samples: the larger; the latter costs 0.25 % of the thickness
FINEST = 6.0  # voxels to a thickness: finer ones would not show
BAND = 1.8  # in voxels: how far beyond the thickness distances are kept; a crossed voxel edge needs 1


@dataclass(frozen=True, slots=True, eq=False)
class OffsetBody:
    """The pattern grown by a ball, as a closed mesh with outward normals (mold frame).

    vertices_mm : (n, 3) float64, faces : (m, 3) int32. volume_mm3 : enclosed, the board not considered. thickness_mm
    : the ball's radius, at least 1.3 voxels. voxel_mm : cell of the distance field. sample_error_mm : how far the
    surface lies inwards between two samples. closed_mm : the widest hole that was bridged.
    """

    vertices_mm: FloatArray
    faces: IntArray
    volume_mm3: float
    thickness_mm: float
    voxel_mm: float
    sample_error_mm: float
    closed_mm: float


def surface_samples(vertices: FloatArray, faces: IntArray, spacing_mm: float) -> FloatArray:
    """Points (k, 3) on the triangles, none of the surface farther than about `spacing_mm` from one of them.

    The middles of equal parts of every triangle, thinned to one per cube of that size.
    """
    corners = vertices[faces]
    longest = np.sqrt(((corners - np.roll(corners, 1, axis=1)) ** 2).sum(2).max(1))
    parts = np.maximum(np.ceil(longest / (1.5 * spacing_mm)).astype(int), 1)
    points = []
    for n in np.unique(parts):
        i, j = (g.ravel() for g in np.mgrid[:n, :n])
        upright = np.column_stack([i, j])[i + j < n] + 1 / 3
        turned = np.column_stack([i, j])[i + j < n - 1] + 2 / 3
        uv = np.vstack([upright, turned]) / n
        weights = np.column_stack([1 - uv.sum(1), uv])
        points.append(np.einsum("kw,mwc->mkc", weights, corners[parts == n]).reshape(-1, 3))
    found = np.vstack(points)
    cells = np.floor((found - found.min(0)) / spacing_mm).astype(np.int64)
    _, first = np.unique(np.ravel_multi_index(tuple(cells.T), tuple(cells.max(0) + 1)), return_index=True)
    return found[np.sort(first)]


@njit(cache=True, nogil=True)
def _stamp(points: FloatArray, reach: float, field: Any) -> None:
    """Lower `field` (squared distances [voxel²], float32) around points (k, 3) given in voxels, out to `reach`."""
    nx, ny, nz = field.shape
    limit = reach * reach
    for p in range(points.shape[0]):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        for i in range(max(0, int(np.ceil(x - reach))), min(nx, int(x + reach) + 1)):
            square_x = (i - x) ** 2
            span = np.sqrt(max(0.0, limit - square_x))
            for j in range(max(0, int(np.ceil(y - span))), min(ny, int(y + span) + 1)):
                square = square_x + (j - y) ** 2
                depth = np.sqrt(max(0.0, limit - square))
                first = max(0, int(np.ceil(z - depth)))
                row = field[i, j, first : min(nz, int(z + depth) + 1)]
                base, off = np.float32(square), np.float32(first - z)
                for k in range(len(row)):  # in single precision and without branches: it runs in lanes
                    step = off + np.float32(k)
                    found = base + step * step
                    row[k] = found if found < row[k] else row[k]


def surface_net(phi: Field) -> tuple[FloatArray, IntArray]:
    """Closed mesh of phi = 0, outward where phi > 0: a vertex per mixed cell, two triangles per crossed voxel edge.

    phi : (nx, ny, nz), positive all along its border. Vertices (n, 3) in voxels: the mean of their cell's crossings.
    """
    shape = np.array(phi.shape)
    strides = np.array([shape[1] * shape[2], shape[2], 1])
    flat = phi.ravel()
    cells, places, quads = [], [], []
    for axis in range(3):
        ahead = strides[axis]
        start = np.flatnonzero((flat[:-ahead] < 0) != (flat[ahead:] < 0))  # the border is positive: no row wraps
        t = flat[start] / (flat[start] - flat[start + ahead])
        place = np.column_stack(np.unravel_index(start, phi.shape)).astype(float)
        place[:, axis] += t
        one, two = strides[(axis + 1) % 3], strides[(axis + 2) % 3]
        ring = np.stack([start - one - two, start - two, start, start - one], axis=1)
        leaving = flat[start] < 0
        quads.append(np.where(leaving[:, None], ring, ring[:, ::-1]))
        cells.append(ring.T.ravel())
        places.append(np.tile(place, (4, 1)))
    cell, index = np.unique(np.concatenate(cells), return_inverse=True)
    place = np.vstack(places)
    count = np.bincount(index, minlength=len(cell))
    vertices = np.column_stack([np.bincount(index, place[:, k], len(cell)) / count for k in range(3)])
    quad = np.searchsorted(cell, np.vstack(quads)).astype(np.int32)
    return vertices, np.ascontiguousarray(np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]]))


def _flooded(passable: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """What a flood from the first corner reaches through the voxels that let it pass."""
    from scipy.ndimage import label

    labels, _ = label(passable)
    return np.asarray(labels == labels[0, 0, 0])


def _solid(near: Mask, board: Mask, radius: float, volume: float | None) -> tuple[Mask, float]:
    """The voxels of the solid, and how far [voxel] the barrier had to be widened to keep the flood out.

    near : within `radius` of the surface. board : held solid. volume : of the pattern [voxel], None where unknown.
    The core of a sound solid, deeper than the radius, holds about the volume less half of the near voxels: less than
    half of that is a leak.
    """
    from scipy.ndimage import distance_transform_edt

    expected = 0.0 if volume is None else volume - np.count_nonzero(near & ~board) / 2
    near = near | board
    solid = ~_flooded(~near)
    core = np.count_nonzero(solid & ~near)
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
    vertices: FloatArray,
    faces: IntArray,
    *,
    thickness_mm: float,
    volume_mm3: float | None = None,
    on_board: bool = False,
    voxels_along: int = VOXELS_ALONG,
) -> OffsetBody:
    """Grow any mesh by `thickness_mm`.

    vertices : (n, 3) float64 [mm], faces : (m, 3) int, watertight or not. volume_mm3 : the pattern's volume where it
    is known; where the solid found is too hollow for it, wider holes are bridged. on_board : a board at z = 0 closes
    what is open below; triangles in its plane are left out, and the body has a slab below it that is not to be read.
    voxels_along : cells on the longest side, fewer on a small pattern.

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
    if on_board:
        faces = faces[(np.abs(vertices[faces][:, :, 2]) > 1e-6).any(1)]
    used = vertices[np.unique(faces)]
    low, high = used.min(0), used.max(0)
    voxel = max(float((high - low).max() + 2 * thickness_mm) / voxels_along, thickness_mm / FINEST)
    radius = max(thickness_mm / voxel, 1.3)
    reach = radius + BAND
    origin = low - (np.ceil(reach) + 2.382) * voxel
    shape = np.ceil((high - origin) / voxel + reach + 3.0).astype(int)
    field = np.full(shape, np.float32((reach + 1) ** 2), np.float32)
    spacing = max(SAMPLE_VOXELS, SAMPLE_THICKNESS * radius) * voxel
    samples = surface_samples(vertices, faces, spacing)
    _stamp((samples - origin) / voxel, reach, field)
    phi = np.sqrt(field) - np.float32(radius)
    board = np.zeros(shape, np.bool_)
    if on_board:
        board[1:-1, 1:-1, 1 : max(1, int(np.floor(-origin[2] / voxel)))] = True
    solid, wider = _solid(phi < 0, board, radius, None if volume_mm3 is None else volume_mm3 / voxel**3)
    np.clip(phi, -1.0, BAND, out=phi)
    phi[solid & (phi >= 0)] = -1.0
    points, triangles = surface_net(phi)
    points = points * voxel + origin
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return OffsetBody(
        vertices_mm=points,
        faces=triangles,
        volume_mm3=float(np.einsum("ij,ij->", a - low, np.cross(b - low, c - low)) / 6),
        thickness_mm=radius * voxel,
        voxel_mm=voxel,
        sample_error_mm=float(spacing**2 / (4 * radius * voxel)),
        closed_mm=2 * (radius + wider) * voxel,
    )
