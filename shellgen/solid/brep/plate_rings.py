"""Outlines of plates that meet at an angle, made to agree: what is all but on a plane or all but in line is put there.

Outlines are simplified by hundredths each for itself; ends of two plates that nearly agree would give slivers.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.solid.brep.plate import OFF_BOARD_MM
from shellgen.solid.recipe import Prism, Ring

ALIKE = 1e-9
LONG_MM = 10.0  # an edge that long and all but square to a crease is meant to be so

Plane = tuple[FloatArray, float]
"""A unit normal (3,) into the piece and the offset along it."""


def on_planes(plate: Prism, planes: list[Plane]) -> Prism:
    """A plate with points of its outline that lie all but on one of the planes put onto it."""
    rings = []
    for ring in (plate.outer, *plate.holes):
        points = np.asarray(ring, float)
        for normal, offset in planes:
            across = np.array([normal @ np.asarray(plate.x_axis), normal @ np.asarray(plate.y_axis)])
            size = float(np.hypot(*across))
            if size < ALIKE:
                continue
            off = (points @ across + float(normal @ np.asarray(plate.origin)) - offset) / size
            points = points - np.where(np.abs(off) < OFF_BOARD_MM, off, 0.0)[:, None] * across / size
        rings.append(_ring(points))
    return replace(plate, outer=rings[0], holes=tuple(rings[1:]))


def ends_in_line(plates: list[Prism]) -> list[Prism]:
    """Plates whose straight ends, all but square to a crease of two of them, are so, and in line if nearly in line."""
    plates = list(plates)
    for k in range(len(plates)):
        for j in range(k + 1, len(plates)):
            way = np.cross(plates[k].up, plates[j].up)
            size = float(np.linalg.norm(way))
            if size > ALIKE:
                levels: list[float] = []
                for n in (k, j):
                    plates[n] = _levelled(plates[n], way / size, levels)
    return plates


def _levelled(plate: Prism, way: FloatArray, levels: list[float]) -> Prism:
    """A plate with ends at the levels found so far along a direction in its plane; new ones are added."""
    along = np.array([way @ np.asarray(plate.x_axis), way @ np.asarray(plate.y_axis)])
    start = float(way @ np.asarray(plate.origin))
    rings = []
    for ring in (plate.outer, *plate.holes):
        points = np.asarray(ring, float)
        for a in range(len(points)):
            b = (a + 1) % len(points)
            edge, at = points[b] - points[a], points[[a, b]] @ along + start
            if float(np.hypot(*edge)) < LONG_MM or abs(float(at[1] - at[0])) > OFF_BOARD_MM:
                continue
            level = next((v for v in levels if np.abs(at - v).max() < OFF_BOARD_MM), None)
            if level is None:
                level = float(at[0])
                levels.append(level)
            points[[a, b]] += (level - at)[:, None] * along
        rings.append(_ring(points))
    return replace(plate, outer=rings[0], holes=tuple(rings[1:]))


def _ring(points: FloatArray) -> Ring:
    """Points (n, 2) as a ring, without those that fall together."""
    apart = np.hypot(*(points - np.roll(points, 1, axis=0)).T) > ALIKE
    return tuple((float(x), float(y)) for x, y in points[apart])
