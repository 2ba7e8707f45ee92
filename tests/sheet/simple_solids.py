"""Simple solids by formula, for the renderer's tests."""

from __future__ import annotations

import numpy as np
import trimesh

from shellgen.pattern.pattern import FloatArray, IntArray


def sphere(radius: float, levels: int) -> tuple[FloatArray, IntArray]:
    """An icosphere at the origin."""
    mesh = trimesh.creation.icosphere(levels, radius)
    return np.asarray(mesh.vertices, float), np.asarray(mesh.faces).astype(np.int32)


def box(size: tuple[float, float, float], centre: tuple[float, float, float]) -> tuple[FloatArray, IntArray]:
    """A box round a centre."""
    mesh = trimesh.creation.box(size)
    return np.asarray(mesh.vertices, float) + np.array(centre), np.asarray(mesh.faces).astype(np.int32)
