"""Heights of a mesh of an envelope, against the mesh itself."""

import numpy as np
import pytest
import trimesh

from shellgen.envelope.raster import Envelope, Grid
from shellgen.envelope.spline_fit_net import net_heights
from shellgen.envelope.triangulate import solid_under


def test_net_holds_the_volume_of_its_mesh():
    grid = Grid(-20.3, -15.1, 0.5, 75, 90)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    envelope = Envelope(grid, 14.0 - 0.03 * x**2 - 0.05 * y**2, 1.0, 1.0, 3.0, -30.0)
    vertices, faces = solid_under(envelope, from_mm=0.0, tolerance_mm=0.2)
    solid = trimesh.Trimesh(vertices, faces, process=False).volume  # with a slab 2 mm thick under all of it
    step = 0.125
    x0, x1, y0, y1 = (f(vertices[:, k]) for k in (0, 1) for f in (np.min, np.max))
    at_x, at_y = np.arange(x0 + 0.5 * step, x1, step), np.arange(y0 + 0.5 * step, y1, step)
    heights = net_heights(envelope, at_x, at_y, from_mm=0.0, tolerance_mm=0.2)
    assert float((heights + 2.0).sum()) * step**2 == pytest.approx(solid, rel=2e-5)
    surface = envelope.at(*np.meshgrid(at_x, at_y))
    assert 0.02 < float((surface - heights)[surface > 3.0].mean()) < 0.2  # its chords lie under the dome
