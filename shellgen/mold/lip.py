"""The rubber's lip on the board: a flat ring about the footprint, joined to the pattern before it is grown.

Grown by the jacket's thickness the ring becomes a lip of that height; the shell's foot follows by itself. A straight
skirt below the board keeps all skins square to it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import MultiPolygon, Polygon

from shellgen.envelope.facets import Facets, facets
from shellgen.envelope.raster import FloatArray


def lip_outline(footprint: MultiPolygon, width_mm: float) -> MultiPolygon:
    """Rim of the lip in the board's plane: the footprint, its inner holes filled, grown by the lip's width."""
    filled = shapely.union_all([Polygon(p.exterior) for p in footprint.geoms])
    grown = filled.buffer(max(width_mm, 1e-3), quad_segs=12).simplify(0.02)
    parts = [grown] if isinstance(grown, Polygon) else list(grown.geoms)
    return MultiPolygon([Polygon(p.exterior) for p in parts])


def lip_facets(outline: MultiPolygon, depth_mm: float) -> Facets:
    """The lip's flat disc at z = 0 and its skirt down to -depth, in the mold frame."""
    points: list[FloatArray] = []
    faces: list[npt.NDArray[np.intp]] = []
    count = 0
    for part in outline.geoms:
        ring = np.asarray(part.exterior.coords)[:-1]
        n = len(ring)
        for triangle in shapely.constrained_delaunay_triangles(part).geoms:
            corners = np.asarray(triangle.exterior.coords)[:3]
            points.append(np.column_stack([corners, np.zeros(3)]))
            faces.append(np.array([[count, count + 1, count + 2]]))
            count += 3
        points.append(np.column_stack([ring, np.zeros(n)]))
        points.append(np.column_stack([ring, np.full(n, -depth_mm)]))
        a, b = np.arange(n), np.roll(np.arange(n), -1)
        faces.append(count + np.column_stack([a, n + b, b]))
        faces.append(count + np.column_stack([a, n + a, n + b]))
        count += 2 * n
    vertices = np.concatenate(points)
    unique, inverse = np.unique(vertices, axis=0, return_inverse=True)
    return facets(unique, inverse.ravel()[np.concatenate(faces)].astype(np.int32))
