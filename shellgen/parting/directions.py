"""Directions to try as pulls: an even hemisphere, or level azimuths, with the neighbours of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Directions:
    """Unit normals (n, 3), a direction and its opposite being the same; spacing_deg : between neighbours."""

    normals: FloatArray
    spacing_deg: float
    level: bool

    def minima(self, values: FloatArray) -> npt.NDArray[np.intp]:
        """Indices of the directions no neighbour of which has a lower value, lowest first."""
        near = np.abs(self.normals @ self.normals.T) > np.cos(np.radians(1.6 * self.spacing_deg))
        least = np.where(near, values[None, :], np.inf).min(1)
        found = np.flatnonzero((values <= least) & np.isfinite(values))
        return found[np.argsort(values[found], kind="stable")]

    def around(self, normal: FloatArray, step_deg: float) -> FloatArray:
        """Directions one step away: six round about, or the two beside it where all must stay level."""
        tilt = np.radians(step_deg)
        if self.level:
            side = np.array([-normal[1], normal[0], 0.0])
            return np.array([np.cos(tilt) * normal + s * np.sin(tilt) * side for s in (1, -1)])
        first = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
        first /= np.linalg.norm(first)
        second = np.cross(normal, first)
        turns = np.radians(np.arange(0, 360, 60))
        ring = np.cos(turns)[:, None] * first + np.sin(turns)[:, None] * second
        return np.cos(tilt) * normal + np.sin(tilt) * ring


def angle_deg(first: FloatArray, second: FloatArray) -> float:
    """Angle between two pulls, 0 to 90: a pull and its opposite are the same plane."""
    return float(np.degrees(np.arccos(min(1.0, abs(float(np.dot(first, second)))))))


def canonical(normal: FloatArray) -> FloatArray:
    """Unit normal, of the two that mean the same plane: the one whose largest component is positive.

    Components under 1e-12 become exactly 0.
    """
    unit = np.asarray(normal, float) / np.linalg.norm(normal)
    unit[np.abs(unit) < 1e-12] = 0.0
    size = np.abs(unit)
    lead = int(np.flatnonzero(size >= size.max() - 1e-9)[0])
    return np.asarray(unit if unit[lead] > 0 else -unit)


def principal_axes(points: FloatArray) -> FloatArray:
    """Rows: the three principal axes of points (n, 3), longest first."""
    centred = points - points.mean(0)
    return np.linalg.svd(centred.T @ centred)[2]


def hemisphere(count: int, extra: FloatArray) -> Directions:
    """`count` directions on a sunflower spiral over the half sphere, and the `extra` ones (k, 3)."""
    k = np.arange(count) + 0.5
    z = 1 - k / count
    turn = np.pi * (3 - np.sqrt(5)) * k
    flat = np.sqrt(1 - z * z)
    spiral = np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])
    spacing = float(np.degrees(np.sqrt(2 * np.pi / count)))
    return Directions(np.array([canonical(n) for n in np.vstack([extra, spiral])]), spacing, False)


def level_ring(count: int) -> Directions:
    """`count` level directions over half a turn, starting at x."""
    turn = np.arange(count) * np.pi / count
    ring = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(count)])
    return Directions(np.array([canonical(n) for n in ring]), 180.0 / count, True)
