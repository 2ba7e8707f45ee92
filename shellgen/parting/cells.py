"""Cells: which piece takes which side of the parting, and along which pull it leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import PartingSettings, PlaneSettings
from shellgen.parting.surface import Parting, PlaneParting, ValleyParting

TURN_OVER = np.diag([-1.0, 1.0, -1.0, 1.0])  # from one half's pull frame to the other's


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """One piece's share: all that lies above `parting` in its pull frame."""

    name: str
    pull_to_mold: FloatArray
    parting: Parting


def plane_frame(normal: FloatArray, offset_mm: float, bounds_mm: FloatArray) -> FloatArray:
    """4x4 from the pull frame of the half on the normal's side to the mold frame.

    +z along the normal, the plane at z = 0, +y as far up as the plane allows (an upright plane: the board is y = 0).
    """
    z = np.asarray(normal, float) / np.linalg.norm(normal)
    up = np.array([0.0, 0.0, 1.0]) if abs(z[2]) < 0.9 else np.array([0.0, 1.0, 0.0])
    y = up - (up @ z) * z
    y /= np.linalg.norm(y)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2] = np.cross(y, z), y, z
    middle = bounds_mm.mean(axis=0)
    if abs(z[2]) < 1e-12:
        middle[2] = 0.0
    frame[:3, 3] = middle + (offset_mm - middle @ z) * z
    return frame


def wanted_plane(settings: PartingSettings, bounds_mm: FloatArray, upright: bool) -> tuple[FloatArray, float]:
    """Normal (3,) and offset [mm] of the plane that a job asks for; "middle" halves the pattern's bounds.

    Raises DesignError where an upright plane is needed and another one asked, or where the plane misses the pattern.
    """
    size = np.ptp(bounds_mm, axis=0)
    plane = settings.plane if isinstance(settings.plane, PlaneSettings) else PlaneSettings()  # type: ignore[call-arg]
    if plane.normal is not None:
        normal = np.asarray(plane.normal, float)
        normal = normal / np.linalg.norm(normal)
    elif plane.angle_deg is not None:
        a = np.radians(plane.angle_deg)
        normal = np.array([np.cos(a), np.sin(a), 0.0])
    else:
        axis = int(np.argmin(size[:2] if upright else size))
        normal = np.eye(3)[axis]
    normal[np.abs(normal) < 1e-12] = 0.0
    if upright and abs(normal[2]) > 1e-6:
        raise DesignError(
            f"parting.plane.normal = {tuple(round(float(v), 4) for v in normal)}: on a board or stem the parting plane "
            "must be upright. Give a normal with z = 0, or parting.plane.angle_deg."
        )
    corners = np.array([[x, y, z] for x in bounds_mm[:, 0] for y in bounds_mm[:, 1] for z in bounds_mm[:, 2]])
    low, high = (corners @ normal).min(), (corners @ normal).max()
    offset = 0.5 * (low + high) if plane.offset_mm is None else plane.offset_mm
    if not low < offset < high:
        near = low + 0.05 * (high - low) if offset <= low else high - 0.05 * (high - low)
        raise DesignError(
            f"parting.plane.offset_mm = {offset:g}: the plane misses the pattern, which lies between {low:.1f} and "
            f"{high:.1f} along that normal. The nearest that cuts it well is {near:.1f}."
        )
    return normal, float(offset)


def halves(settings: PartingSettings, bounds_mm: FloatArray, upright: bool) -> tuple[Cell, Cell]:
    """The two cells of a plane: A on its normal's side, B on the other."""
    normal, offset = wanted_plane(settings, bounds_mm, upright)
    frame = plane_frame(normal, offset, bounds_mm)
    return Cell("A", frame, PlaneParting()), Cell("B", frame @ TURN_OVER, PlaneParting())


def radial_cells(settings: PartingSettings, bounds_mm: FloatArray) -> tuple[Cell, ...]:
    """Pieces A, B, ... about an upright axis, each leaving along the bisector of its two parting planes.

    Each frame has +z along the pull, +y up from the board and the axis at x = z = 0.
    """
    count = settings.pieces
    middle = bounds_mm.mean(axis=0)
    at = middle[:2] if settings.axis_at_mm is None else np.asarray(settings.axis_at_mm, float)
    valley = ValleyParting(float(1 / np.tan(np.pi / count)))
    cells = []
    for k in range(count):
        turn = np.radians(settings.angle_deg + (k + 0.5) * 360.0 / count)
        c, s = float(np.cos(turn)), float(np.sin(turn))
        frame = np.eye(4)
        frame[:3, 0], frame[:3, 1], frame[:3, 2] = (-s, c, 0.0), (0.0, 0.0, 1.0), (c, s, 0.0)
        frame[:3, 3] = (at[0], at[1], 0.0)
        cells.append(Cell("ABCDEF"[k], frame, valley))
    return tuple(cells)


def require_shares(cells: tuple[Cell, ...], vertices_mm: FloatArray) -> None:
    """Refuse radial pieces of which one would hold nothing of the pattern.

    vertices_mm : (n, 3) of the pattern in the mold frame. Raises DesignError that names the piece and a better axis.
    """
    for cell in cells:
        local = (vertices_mm - cell.pull_to_mold[:3, 3]) @ cell.pull_to_mold[:3, :3]
        if not np.any(local[:, 2] > cell.parting.at(local[:, 0], local[:, 1])):
            x, y, _ = cell.pull_to_mold[:3, 3]
            mid = (vertices_mm.min(axis=0) + vertices_mm.max(axis=0)) / 2
            raise DesignError(
                f"parting.axis_at_mm = ({x:g}, {y:g}): piece {cell.name} would hold nothing of the pattern. The axis "
                f"through the pattern's middle is at ({mid[0]:.1f}, {mid[1]:.1f})."
            )
