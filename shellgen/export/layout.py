"""Lay a part flat for its printer bed or the bench."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part

WAYS = 16  # in which the points are looked at to leave out those well inside


def lay(part: Part) -> FloatArray:
    """The 4x4 that lays a part flat: its pull upwards, so that the mating face lies down.

    The least rectangle round it stands square to the axes, its long side along x and its corner in the origin.
    A part without a pull (the rubber) keeps its own up. Mold frame in, bed frame out, lengths in mm.
    """
    return _laid(part)[0]


def laid_size_mm(part: Part) -> FloatArray:
    """Size (x, y, z) of a part as `lay` lays it [mm]."""
    return _laid(part)[1]


def _laid(part: Part) -> tuple[FloatArray, FloatArray]:
    """The 4x4 of `lay`, and the part's size under it. Points lie in columns here: rows are quick to search."""
    turn = _upright(np.array([0.0, 0.0, 1.0]) if part.pull is None else np.asarray(part.pull, float))
    points = turn @ part.vertices_mm.T
    angle = _least_rectangle_angle(points[:2])
    c, s = np.cos(angle), np.sin(angle)
    spin = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    points = spin @ points
    low = points.min(1)
    matrix = np.eye(4)
    matrix[:3, :3] = spin @ turn
    matrix[:3, 3] = -low
    return matrix, points.max(1) - low


def _upright(direction: FloatArray) -> FloatArray:
    """The rotation that turns a direction to +z and keeps what it can of the rest."""
    z = direction / np.linalg.norm(direction)
    across = np.cross([0.0, 0.0, 1.0] if abs(z[2]) < 0.9 else [0.0, 1.0, 0.0], z)
    x = across / np.linalg.norm(across)
    return np.stack([x, np.cross(z, x), z])


def _least_rectangle_angle(points: FloatArray) -> float:
    """Angle of the long side of the rectangle of least area round points (2, n), in radians.

    One of its sides runs along a side of the convex hull (rotating calipers).
    """
    from scipy.spatial import ConvexHull

    kept = points[:, _may_be_corners(points)].T
    corners = kept[ConvexHull(kept).vertices]
    sides = np.roll(corners, -1, 0) - corners
    angles = np.unique(np.round(np.arctan2(sides[:, 1], sides[:, 0]) % (np.pi / 2), 9))
    c, s = np.cos(angles)[:, None], np.sin(angles)[:, None]
    along = c * corners[:, 0] + s * corners[:, 1]
    across = c * corners[:, 1] - s * corners[:, 0]
    length, width = np.ptp(along, 1), np.ptp(across, 1)
    best = int(np.argmin(np.round(length * width, 6)))
    return float(angles[best] + (0.0 if length[best] >= width[best] - 1e-9 else np.pi / 2))


def _may_be_corners(points: FloatArray) -> npt.NDArray[np.bool_]:
    """Points (2, n) outside a circle that lies within their hull; in a box scaled square, most lie inside."""
    low, high = points.min(1, keepdims=True), points.max(1, keepdims=True)
    scaled = (points - (low + high) / 2.0) / np.maximum(high - low, 1e-9)
    turn = 2.0 * np.pi * np.arange(WAYS) / WAYS
    reach = (np.stack([np.cos(turn), np.sin(turn)], 1) @ scaled).max(1)
    # between two directions the support falls by no more than this, as no point is farther out than a corner of the box
    inner = max(0.0, float(reach.min()) * np.cos(np.pi / WAYS) - np.sqrt(0.5) * np.sin(np.pi / WAYS))
    found: npt.NDArray[np.bool_] = (scaled**2).sum(0) >= inner**2
    return found
