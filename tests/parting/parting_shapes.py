"""Shapes with known fills, as plain triangle meshes."""

from __future__ import annotations

import numpy as np
import trimesh

from shellgen.parting.offset_body import OffsetBody


def as_arrays(mesh: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    """Vertices float64 and faces int32 of a mesh."""
    return np.array(mesh.vertices, float), np.array(mesh.faces, np.int32)


def as_body(mesh: trimesh.Trimesh) -> OffsetBody:
    """The mesh itself as an offset body: for fills whose closed form belongs to this very shape."""
    vertices, faces = as_arrays(mesh)
    return OffsetBody(vertices, faces, float(mesh.volume), 0.0, 0.0, 0.0, 0.0)


def sphere(radius: float = 30.0) -> trimesh.Trimesh:
    """A sphere of 81920 triangles."""
    return trimesh.creation.icosphere(subdivisions=6, radius=radius)


def torus(middle: float = 40.0, tube: float = 10.0) -> trimesh.Trimesh:
    """A torus about z."""
    return trimesh.creation.torus(middle, tube, major_sections=360, minor_sections=120)


def cylinder(radius: float = 30.0, height: float = 80.0) -> trimesh.Trimesh:
    """A cylinder along z."""
    return trimesh.creation.cylinder(radius, height, sections=360)


def elbow(leg: float = 120.0, side: float = 20.0) -> trimesh.Trimesh:
    """Two square bars at right angles in the x-y plane."""
    first = trimesh.creation.box((leg, side, side), trimesh.transformations.translation_matrix((leg / 2, side / 2, 0)))
    second = trimesh.creation.box((side, leg, side), trimesh.transformations.translation_matrix((side / 2, leg / 2, 0)))
    return trimesh.util.concatenate([first, second])


def turned(mesh: trimesh.Trimesh, angle_deg: float, axis: tuple[float, float, float]) -> trimesh.Trimesh:
    """A copy, turned about an axis through the origin."""
    copy = mesh.copy()
    copy.apply_transform(trimesh.transformations.rotation_matrix(np.radians(angle_deg), axis))
    return copy
