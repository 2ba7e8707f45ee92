"""Closed bodies as solids: from triangles, united, hollows filled."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from shellgen.pattern.pattern import FloatArray, IntArray

Solid = Any  # manifold3d.Manifold; the library is loaded on demand


def solid_from(vertices: FloatArray, faces: IntArray) -> Solid | None:
    """The solid inside closed triangles with outward normals; None if the kernel refuses them or they hold nothing."""
    import manifold3d as m3

    mesh = m3.Mesh64(np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(faces, np.uint64))
    solid = m3.Manifold(mesh)
    return solid if solid.status() == m3.Error.NoError and solid.volume() > 0 else None


def triangles_of(solid: Solid) -> tuple[FloatArray, IntArray]:
    """Vertices (n, 3) and faces (m, 3) of a solid."""
    mesh = solid.to_mesh64()
    return np.ascontiguousarray(mesh.vert_properties[:, :3], np.float64), np.asarray(mesh.tri_verts, np.int32)


def united(solids: Sequence[Solid]) -> Solid:
    """The union of solids; apart ones stay apart, one inside another adds nothing."""
    import manifold3d as m3

    if len(solids) == 1:
        return solids[0]
    return m3.Manifold.batch_boolean(list(solids), m3.OpType.Add)


def filled(solid: Solid) -> Solid:
    """The solid without its closed hollows: rubber never gets in there."""
    pieces = solid.decompose()
    outer = [piece for piece in pieces if piece.volume() > 0]
    if len(outer) == len(pieces) or not outer:
        return solid
    return united(outer)


def without_dust(solid: Solid, share: float = 1e-6) -> tuple[Solid, int]:
    """The solid without bodies smaller than a share of its volume, and how many they were."""
    pieces = solid.decompose()
    least = share * solid.volume()
    large = [piece for piece in pieces if abs(piece.volume()) > least]
    return (solid, 0) if len(large) == len(pieces) else (united(large), len(pieces) - len(large))


def loose_bodies_united(solid: Solid) -> Solid:
    """Union of bodies that were read as one solid although they may overlap or contain each other."""
    pieces = solid.decompose()
    if len(pieces) == 1 or not _boxes_meet(pieces):
        return solid
    return filled(united(pieces))


def _boxes_meet(pieces: Sequence[Solid]) -> bool:
    """Whether any two bounding boxes overlap (sweep along x)."""
    boxes = np.array([piece.bounding_box() for piece in pieces])
    boxes = boxes[np.argsort(boxes[:, 0], kind="stable")]
    for i in range(len(boxes)):
        near = boxes[i + 1 : i + 1 + np.searchsorted(boxes[i + 1 :, 0], boxes[i, 3], side="right")]
        if np.any((near[:, 1] <= boxes[i, 4]) & (near[:, 4] >= boxes[i, 1]) & (near[:, 2] <= boxes[i, 5]) & (near[:, 5] >= boxes[i, 2])):
            return True
    return False
