"""A part's mesh as a solid of flat triangles, thinned to a tolerance: what is left where no true faces can be made."""

from __future__ import annotations

from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.mold.mold import Part
from shellgen.solid.brep import occ
from shellgen.solid.mesh import manifold, mesh_of

LEAST_HEIGHT_MM = 1e-4  # a triangle flatter than this has no plane of its own
ROUNDS = 20

Triangle = tuple[int, int, int]


def faceted_brep(part: Part, tolerance_mm: float) -> tuple[Any, int]:
    """A part in the mold frame as an OCC solid of planar triangles, none of it moved by more than the tolerance.

    Returns the solid and its number of facets. Raises KernelError if triangles without a plane are left.
    """
    vertices, faces = mesh_of(manifold(part.vertices_mm, part.faces).simplify(tolerance_mm))
    rows: list[Triangle] = [(int(a), int(b), int(c)) for a, b, c in faces]
    triangles = without_slivers(vertices, rows, part.name)
    corners = [occ.vertex(p) for p in vertices]
    edges: dict[tuple[int, int], Any] = {}
    out = []
    for tri in triangles:
        wire = []
        for a, b in zip(tri, tri[1:] + tri[:1], strict=True):
            low, high = min(a, b), max(a, b)
            if (low, high) not in edges:
                edges[low, high] = occ.straight(corners[low], corners[high])
            wire.append((edges[low, high], a == low))
        p, q, r = vertices[list(tri)]
        normal = np.cross(q - p, r - p)
        surface = occ.plane(_point(p), _point((q - p) / np.linalg.norm(q - p)), _point(normal / np.linalg.norm(normal)))
        out.append(occ.face(surface, [wire], True))
    return occ.solid_of(out), len(out)


def without_slivers(vertices_mm: FloatArray, triangles: list[Triangle], name: str) -> list[Triangle]:
    """The same closed surface without triangles of no height: each shares its long edge's neighbour out anew.

    Raises KernelError where some are left.
    """
    rows = list(triangles)
    for _ in range(ROUNDS):
        bad = _flat(vertices_mm, rows)
        if not bad:
            return rows
        owner = {(t[n], t[(n + 1) % 3]): k for k, t in enumerate(rows) for n in range(3)}
        touched: set[int] = set()
        for k in bad:
            t = rows[k]
            u, v, w = max(
                ((t[n], t[(n + 1) % 3], t[(n + 2) % 3]) for n in range(3)),
                key=lambda e: float(np.linalg.norm(vertices_mm[e[0]] - vertices_mm[e[1]])),
            )
            other = owner[v, u]
            x = next((c for c in rows[other] if c not in t), w)
            if x == w or touched & {k, other} or (w, x) in owner or (x, w) in owner:
                continue
            rows[k], rows[other] = (w, u, x), (w, x, v)
            touched |= {k, other}
            touched |= {owner[e] for e in ((u, x), (x, v), (v, w), (w, u)) if e in owner}
    x, y, z = vertices_mm[rows[_flat(vertices_mm, rows)[0]][0]]
    raise KernelError(f"{name}: a facet at ({x:.1f}, {y:.1f}, {z:.1f}) has no plane")


def _flat(vertices_mm: FloatArray, rows: list[Triangle]) -> list[int]:
    """Numbers of triangles of no height over their longest edge."""
    p, q, r = (vertices_mm[np.array(rows)[:, n]] for n in range(3))
    twice = np.linalg.norm(np.cross(q - p, r - p), axis=1)
    longest = np.max(
        [np.linalg.norm(q - p, axis=1), np.linalg.norm(r - q, axis=1), np.linalg.norm(p - r, axis=1)], axis=0
    )
    return [int(k) for k in np.flatnonzero(twice < LEAST_HEIGHT_MM * longest)]


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
