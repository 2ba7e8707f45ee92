"""Gauges set against a part where the bolts go, and what they meet, bolt by bolt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from shellgen.checks.surface import closest_on_triangles
from shellgen.envelope.raster import FloatArray

SIDES = 64


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """One end of a bolt in the part it sits on. way : unit vector from the seat into the part."""

    bolt: int
    part: str
    kind: str
    at: FloatArray
    way: FloatArray
    length_mm: float


def rod(seat: Seat, start_mm: float, end_mm: float, radius_mm: float) -> m3.Manifold:
    """A cylinder about the bolt's axis between two depths below the seat (negative: above it)."""
    z = seat.way
    x = np.cross([0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0], z)
    x /= np.linalg.norm(x)
    frame = np.stack([x, np.cross(z, x), z, seat.at + start_mm * z], 1)
    round_radius = radius_mm * float(np.sqrt(2 * np.pi / SIDES / np.sin(2 * np.pi / SIDES)))  # the circle's area
    return m3.Manifold.cylinder(end_mm - start_mm, round_radius, round_radius, SIDES).transform(frame)


@dataclass(frozen=True, slots=True, eq=False)
class Lump:
    """One piece of what a gauge met: volume [mm3], centre (3,), corners of its triangles (n, 3, 3)."""

    volume: float
    centre: FloatArray
    triangles: FloatArray


def met(solid: m3.Manifold, seats: Sequence[Seat], gauges: Sequence[m3.Manifold], inside: bool) -> list[list[Lump]]:
    """What each gauge has in common with a solid (`inside`), or what of it stays outside.

    Gauges that do not touch each other go in one boolean.
    """
    found: list[list[Lump]] = [[] for _ in gauges]
    for group in apart(gauges):
        tool = m3.Manifold.compose([gauges[k] for k in group])
        rest = tool ^ solid if inside else tool - solid
        centres = np.array([seats[k].at for k in group])
        for piece in rest.decompose():
            lump = lump_of(piece)
            nearest = int(np.linalg.norm(centres - lump.centre, axis=1).argmin())
            found[group[nearest]].append(lump)
    return found


def apart(gauges: Sequence[m3.Manifold]) -> list[list[int]]:
    """Gauges in groups in which no two bounding boxes meet."""
    groups: list[list[int]] = []
    boxes = [np.reshape(gauge.bounding_box(), (2, 3)) for gauge in gauges]
    for k, box in enumerate(boxes):
        for group in groups:
            if all((box[0] > boxes[o][1]).any() or (box[1] < boxes[o][0]).any() for o in group):
                group.append(k)
                break
        else:
            groups.append([k])
    return groups


def lump_of(solid: m3.Manifold) -> Lump:
    """Volume, centre and vertices of a small solid."""
    mesh = solid.to_mesh64()
    vertices, faces = np.asarray(mesh.vert_properties[:, :3]), np.asarray(mesh.tri_verts).astype(np.int64)
    middle = vertices.mean(0)
    a, b, c = (vertices[faces[:, i]] - middle for i in range(3))
    sixth = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    volume = float(sixth.sum())
    centre = middle + (sixth @ (a + b + c)) / 4.0 / volume if volume > 1e-9 else middle
    return Lump(volume, centre, vertices[faces])


def off_axis(seat: Seat, points: FloatArray) -> FloatArray:
    """Vectors (n, 3) from the bolt's axis to points, square to it."""
    off = np.atleast_2d(points) - seat.at
    found: FloatArray = off - np.outer(off @ seat.way, seat.way)
    return found


def reach_mm(seat: Seat, lump: Lump) -> tuple[float, float]:
    """Least and greatest distance of a lump from the bolt's axis, square to it."""
    flat = off_axis(seat, lump.triangles.reshape(-1, 3)).reshape(-1, 3, 3)
    nearest = closest_on_triangles(np.zeros((len(flat), 3)), flat)
    return float(np.linalg.norm(nearest, axis=1).min()), float(np.linalg.norm(flat, axis=2).max())
