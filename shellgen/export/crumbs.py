"""Take out crumbs that only a reader in single precision makes: needles of a cut solid that it folds flat."""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.export.weld import weld_float32
from shellgen.pattern.pattern import IntArray
from shellgen.solid.mesh import CRUMB_MM3

ROUNDS = 6


def without_crumbs(vertices_mm: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """A welded mesh without the bodies of next to no volume that it falls into when it is read in single precision.

    vertices_mm : (n, 3) that hold float32 values exactly, faces : (m, 3); the same is returned where there are none.
    """
    import manifold3d as m3

    for _ in range(ROUNDS):
        read = m3.Manifold(m3.Mesh(vertices_mm.astype(np.float32), faces.astype(np.uint32)))
        bodies = read.decompose()
        whole = [body for body in bodies if abs(body.volume()) > CRUMB_MM3]
        if read.status() != m3.Error.NoError or len(whole) == len(bodies) or not whole:
            break
        meshes = [body.to_mesh64() for body in whole]
        points = [np.asarray(mesh.vert_properties[:, :3]) for mesh in meshes]
        shift = np.cumsum([0] + [len(p) for p in points[:-1]])
        corners = [np.asarray(mesh.tri_verts).astype(np.int64) + n for mesh, n in zip(meshes, shift, strict=True)]
        vertices_mm, faces, _ = weld_float32(np.concatenate(points), np.concatenate(corners).astype(np.int32))
    return vertices_mm, faces
