"""Bring a mesh into the mold frame: unit, size, up axis, turns, mirror, place on the board."""

from __future__ import annotations

import numpy as np

from shellgen.errors import PatternError
from shellgen.job.model import PatternSettings
from shellgen.pattern.pattern import FloatArray

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}  # inch: 25.4 mm exactly (1959 agreement)
SHORTEST_MM, LONGEST_MM = 10.0, 5000.0
_GRID_PER_MM = 2.0**20
_UP = {
    "+z": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "-z": ((1, 0, 0), (0, -1, 0), (0, 0, -1)),
    "+y": ((1, 0, 0), (0, 0, -1), (0, 1, 0)),
    "-y": ((1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "+x": ((0, 0, -1), (0, 1, 0), (1, 0, 0)),
    "-x": ((0, 0, 1), (0, 1, 0), (-1, 0, 0)),
}  # rows: where mold x, y, z come from in the file; all of them turns, none a mirror


def scale_mm(settings: PatternSettings, extents: FloatArray, source: str) -> float:
    """Millimetres per number of the mesh file.

    extents : (3,) size of the mesh along the file's axes, in the file's numbers.
    Raises PatternError if the longest side comes out under 10 mm or over 5000 mm, naming the units that would fit;
    if the mesh has no size; or if both `scale` and `longest_side_mm` are given.
    """
    longest = float(np.max(extents))
    if longest <= 0:
        raise PatternError(f"{source}: all its points lie in one place. Export the mesh again.")
    if settings.longest_side_mm is not None:
        if settings.scale != 1.0:
            raise PatternError("pattern.scale and pattern.longest_side_mm both give the size. Keep one of them.")
        size, factor = settings.longest_side_mm, settings.longest_side_mm / longest
        remedy = f"Set pattern.longest_side_mm between {SHORTEST_MM:g} and {LONGEST_MM:g}."
    else:
        factor = MM_PER_UNIT[settings.units] * settings.scale
        size = longest * factor
        remedy = _unit_slip(longest * settings.scale, settings.units)
    if not SHORTEST_MM <= size <= LONGEST_MM:
        bound = f"under {SHORTEST_MM:g} mm" if size < SHORTEST_MM else f"over {LONGEST_MM:g} mm"
        shown = f"{size:,.0f}" if size >= 100 else f"{size:.3g}"
        raise PatternError(f"{source}: the longest side is {shown} mm, {bound}. {remedy}")
    return factor


def _unit_slip(length: float, given: str) -> str:
    likely = [unit for unit, mm in MM_PER_UNIT.items() if 20 <= length * mm <= 2500 and unit != given]
    likely = likely or [u for u, mm in MM_PER_UNIT.items() if SHORTEST_MM <= length * mm <= LONGEST_MM and u != given]
    if likely:
        words = " or ".join(f'"{unit}"' for unit in likely)
        return f"Did you mean pattern.units = {words}? Or give pattern.longest_side_mm."
    return "Give its true size as pattern.longest_side_mm."


def turning(settings: PatternSettings) -> FloatArray:
    """(3, 3): the up axis, then turns about the fixed x, y, z axes, then the mirror in x. Quarter turns are exact."""
    matrix = np.array(_UP[settings.up], float)
    for axis, angle in enumerate(settings.rotate_deg):
        matrix = _about(axis, angle) @ matrix
    return np.diag([-1.0 if settings.mirror else 1.0, 1.0, 1.0]) @ matrix


def _about(axis: int, angle_deg: float) -> FloatArray:
    quarter, rest = divmod(angle_deg, 90.0)
    if rest == 0:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    else:
        c, s = float(np.cos(np.radians(angle_deg))), float(np.sin(np.radians(angle_deg)))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    matrix = np.eye(3)
    matrix[i, i], matrix[i, j], matrix[j, i], matrix[j, j] = c, -s, s, c
    return matrix


def file_to_mold(settings: PatternSettings, vertices: FloatArray, source: str, lowest_mm: float = 0.0) -> FloatArray:
    """4x4 matrix from the mesh file's numbers to the mold frame.

    vertices : (n, 3) in the file's numbers, used vertices only. The middle of the bounding box goes to x = y = 0, the
    lowest point to z = `lowest_mm` (above 0 on a stem, below 0 where the board cuts). Errors as in `scale_mm`.
    """
    extents = vertices.max(0) - vertices.min(0)
    turn = scale_mm(settings, extents, source) * turning(settings)
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    placed = moved(vertices, matrix)
    low, high = placed.min(0), placed.max(0)
    matrix[:3, 3] = -(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, lowest_mm - low[2]
    return matrix


def moved(vertices: FloatArray, matrix: FloatArray) -> FloatArray:
    """(n, 3) points through a 4x4 matrix; column by column, as small products are slow through a matrix library."""
    x, y, z = vertices.T
    return np.stack([row[0] * x + row[1] * y + row[2] * z + row[3] for row in matrix[:3]], axis=1)


def snapped(vertices: FloatArray) -> FloatArray:
    """Points on a grid of 2^-20 mm (a nanometre).

    Turning and scaling leave faces that should lie in one plane, a flat base or two bodies that touch, apart by
    rounding; on the grid those along the axes are in one plane again. The solid kernel needs that: slivers of 1e-14 mm
    do not survive being read back.
    """
    return np.rint(vertices * _GRID_PER_MM) / _GRID_PER_MM + 0.0
