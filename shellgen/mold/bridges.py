"""Bars of rubber between bodies that stand apart, so that the jacket is one piece.

A jacket reaches from its pattern to the parting, so it is one piece exactly where the pattern's shadow, grown by the
rubber, is one region of the parting plane. Regions that are not are joined by the shortest bars in that plane; they
are grown with the pattern, and the shell makes room for them by itself.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import distance_transform_edt, label

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import FloatArray
from shellgen.envelope.splat import splat
from shellgen.mold.skins import SkinSpec, plan_grid
from shellgen.solid.recipe import inverse, transform

MOST = 400


def bars(bare: Facets, spec: SkinSpec, pull_to_mold: FloatArray, on_board: bool) -> FloatArray:
    """Ends (k, 2, 3) in the mold frame of the bars that make the jacket of one piece; none for most patterns."""
    mesh = bare.moved(inverse(pull_to_mold))
    grid = plan_grid(mesh, spec, on_board, 2 * spec.pitch_mm)
    nothing = float(mesh.points[:, 2].min()) - 100.0
    # a little less than the rubber, so that regions that barely touch on this raster get a bar too
    radius = max(spec.thickness_mm - 2 * spec.pitch_mm, 0.5 * spec.thickness_mm)
    shadow = splat(mesh, grid, radius, 45.0, nothing) > nothing
    if on_board:
        shadow &= (grid.y_mm > 0)[:, None]
    regions, count = label(shadow)
    ends = []
    for _ in range(min(count - 1, MOST)):
        first = regions == regions[shadow][0]
        away, (i, j) = distance_transform_edt(~first, return_indices=True)
        away[first | ~shadow] = np.inf
        k, l = np.unravel_index(int(np.argmin(away)), away.shape)
        m, n = i[k, l], j[k, l]
        ends.append([[grid.x_mm[n], grid.y_mm[m], 0.0], [grid.x_mm[l], grid.y_mm[k], 0.0]])
        regions[regions == regions[k, l]] = regions[shadow][0]
    found = np.array(ends, float).reshape(-1, 3)
    return transform(found, pull_to_mold).reshape(-1, 2, 3)


def as_facets(ends_mm: FloatArray) -> Facets:
    """Bars (k, 2, 3) as edges to be grown."""
    k = len(ends_mm)
    points = np.ascontiguousarray(ends_mm.reshape(-1, 3))
    edges = np.arange(2 * k, dtype=np.int32).reshape(-1, 2)
    lengths = np.linalg.norm(ends_mm[:, 1] - ends_mm[:, 0], axis=1)
    order = np.argsort(-lengths, kind="stable")
    normals = np.tile([0.0, 0.0, 1.0], (2 * k, 1))
    none = np.zeros((0, 3), np.int32)
    return Facets(
        points, normals, np.full(2 * k, np.pi), np.zeros(2 * k), edges[order], lengths[order], none, np.zeros(0), 0.0
    )
