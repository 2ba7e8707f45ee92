"""Every part is one closed body."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench
from shellgen.checks.finding import Finding
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part

TITLE = "closed, one body per part"


def check(bench: Bench) -> Finding:
    """Each edge is used once each way, and the triangles hang together as one body of positive volume.

    The cavity of a closed jacket is a body of negative volume inside it, and allowed there. The volume that the part
    claims must be that of its triangles.
    """
    faults, bodies = [], 0
    for part in bench.mold.parts:
        if not is_closed(part):
            faults.append(f"{part.name} is not a closed, consistently wound mesh")
            continue
        volumes = body_volumes(part)
        solid, hollow = int((volumes > 0).sum()), int((volumes <= 0).sum())
        bodies += solid
        if solid != 1:
            faults.append(f"{part.name} has {solid} bodies, the smallest of {volumes[volumes > 0].min():.1f} mm³")
        if hollow and part.kind != "jacket":
            faults.append(f"{part.name} has {hollow} closed hollows")
        if abs(volumes.sum() - part.volume_mm3) > 1e-4 * abs(part.volume_mm3) + 1.0:
            faults.append(f"{part.name} claims {part.volume_mm3:.0f} mm³, its triangles hold {volumes.sum():.0f}")
    says = "; ".join(faults) or f"all {len(bench.mold.parts)} parts are closed meshes of one body each"
    return Finding("closed", TITLE, "fail" if faults else "pass", bodies, len(bench.mold.parts), "bodies", says)


def is_closed(part: Part) -> bool:
    """Whether each edge is used by two triangles, once each way."""
    faces = np.asarray(part.faces, np.int64)
    if not len(faces) or len(faces) % 2:  # three sides each, two to an edge
        return False
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    keys = (np.minimum(start, end) * len(part.vertices_mm) + np.maximum(start, end)) * 2 + (start < end)
    keys.sort()
    return bool(
        (keys[::2] + 1 == keys[1::2]).all() and (keys[:-2:2] != keys[2::2]).all() and (keys[::2] % 2 == 0).all()
    )


def body_volumes(part: Part) -> FloatArray:
    """Signed volume of each set of connected triangles [mm3]."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    faces, n = part.faces, len(part.vertices_mm)
    links = coo_matrix((np.ones(2 * len(faces), bool), (np.tile(faces[:, 0], 2), faces[:, 1:].T.ravel())), (n, n))
    label = connected_components(links, directed=False)[1][faces[:, 0]]
    a, b, c = ((part.vertices_mm - part.vertices_mm.mean(0))[faces[:, i]] for i in range(3))
    sixth = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    used, label = np.unique(label, return_inverse=True)
    return np.asarray(np.bincount(label.ravel(), sixth, len(used)), float)
