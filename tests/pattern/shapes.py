"""Meshes with known volumes for the pattern's tests."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh

from shellgen.job.model import MountSettings, PatternSettings, Settings
from shellgen.pattern.intake import take_in
from shellgen.pattern.pattern import Pattern
from shellgen.pattern.skin import Closed, closed_skin
from shellgen.pattern.weld import weld

Mesh = tuple[np.ndarray, np.ndarray]


def box(size: tuple[float, float, float], at: tuple[float, float, float] = (0, 0, 0)) -> Mesh:
    """A box with its least corner at `at`."""
    mesh = trimesh.creation.box(size)
    return mesh.vertices + np.array(size) / 2 + np.array(at), mesh.faces


def ball(radius: float, finer: int = 4) -> Mesh:
    """A ball about the origin, corners on the sphere."""
    mesh = trimesh.creation.icosphere(subdivisions=finer, radius=radius)
    return np.array(mesh.vertices), np.array(mesh.faces)


def torus(major: float, minor: float) -> Mesh:
    """A torus about z."""
    mesh = trimesh.creation.torus(major, minor, major_sections=96, minor_sections=48)
    return np.array(mesh.vertices), np.array(mesh.faces)


def together(*meshes: Mesh) -> Mesh:
    """Several meshes as one file would hold them."""
    shift = np.cumsum([0, *(len(v) for v, _ in meshes)])
    return np.vstack([v for v, _ in meshes]), np.vstack([f + s for (_, f), s in zip(meshes, shift, strict=False)])


def volume(mesh: Mesh) -> float:
    """Volume by the divergence theorem, as trimesh computes it."""
    return float(trimesh.Trimesh(*mesh, process=False).volume)


def skin(mesh: Mesh, *, board: bool = False) -> Closed:
    """The closed skin of a mesh that stands in the mold frame already."""
    welded = weld(np.asarray(mesh[0], float), np.asarray(mesh[1], np.int32))
    return closed_skin(welded.vertices, welded, welded.faces, "test", board=board)


def written(folder: Path, mesh: Mesh, name: str = "pattern.ply") -> Path:
    """The mesh as a file, by trimesh."""
    path = folder / name
    trimesh.Trimesh(*mesh, process=False).export(path)
    return path


def taken(path: Path, kind: str = "none", mount: dict | None = None, **pattern: object) -> Pattern:
    """The file taken in with these settings."""
    settings = Settings(
        pattern=PatternSettings(file=path.name, **pattern), mount=MountSettings(kind=kind, **(mount or {}))
    )
    return take_in(settings, path.parent)


def assert_closed_solid(vertices: np.ndarray, faces: np.ndarray) -> None:
    """Each edge is used once each way, and the volume is positive."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
