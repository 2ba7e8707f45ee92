"""Compiles the envelope's kernels, or loads them where an earlier run left them compiled."""

from __future__ import annotations

import numpy as np

from shellgen.envelope.draft import draft
from shellgen.envelope.erode import erode
from shellgen.envelope.facets import facets
from shellgen.envelope.raster import Envelope, Grid
from shellgen.envelope.splat import splat
from shellgen.envelope.triangulate import solid_under
from shellgen.envelope.widen import widened


def warm_up() -> None:
    """Run every kernel once on a tetrahedron."""
    vertices = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, 4.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], np.int32)
    grid = Grid(-6.0, -6.0, 1.0, 17, 17)
    raised = draft(splat(facets(vertices, faces), grid, 2.0, 3.0, -5.0), 1.0, 3.0, -5.0)
    heights = widened(erode(raised, 1.0, 1.0, 3.0, -5.0))
    solid_under(Envelope(grid, heights, 1.0, 1.0, 3.0, -5.0), from_mm=-2.0, tolerance_mm=0.1)
