"""Cutting to cells: both halves of a stepped parting share a block without rest or overlap; shapes move rigidly."""

import manifold3d as m3
import numpy as np
import pytest

from shellgen.envelope.raster import Envelope, Grid
from shellgen.parting.cells import TURN_OVER
from shellgen.parting.surface import SteppedParting
from shellgen.solid.cell_cut import cut_to_cell, highest_mm, lowest_mm
from shellgen.solid.recipe import Dome, Frustum, Prism, moved_shape, transform


@pytest.fixture(scope="module")
def surface():
    """A hill and a step over 81 x 61 nodes."""
    grid = Grid(-40.0, -30.0, 1.0, 61, 81)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    return Envelope(grid, 6 * np.exp(-(x**2 + y**2) / 200) + np.clip(0.5 * (x - 10), 0, 8), 0, 0, 0, -1.0)


def test_both_halves_share_a_block(surface):
    block = m3.Manifold.cube((60.0, 40.0, 40.0), True)
    first = cut_to_cell(block, SteppedParting(surface), 0.02)
    over = cut_to_cell(block.transform(TURN_OVER[:3]), SteppedParting(surface, over=True), 0.02)
    second = over.transform(TURN_OVER[:3])
    assert first.volume() + second.volume() == pytest.approx(60 * 40 * 40, rel=1e-9)
    assert (first ^ second).volume() < 1e-6
    # below the first half lies what the surface's heights sum up to, to the triangles' tolerance
    x, y = np.meshgrid(np.linspace(-29.95, 29.95, 600), np.linspace(-19.95, 19.95, 400))
    assert second.volume() / (60 * 40) == pytest.approx(20 + surface.at(x, y).mean(), abs=0.02)


def test_second_half_sees_the_surface_turned_over(surface):
    first, second = SteppedParting(surface), SteppedParting(surface, over=True)
    x, y = np.array([-33.2, 0.0, 12.7, 90.0]), np.array([3.1, 0.0, -8.8, 0.0])
    assert second.at(-x, y) == pytest.approx(-first.at(x, y))
    assert first.at(np.array(90.0), np.array(0.0)) == pytest.approx(surface.heights_mm[30, -1])  # beyond it: its edge
    assert (lowest_mm(second), highest_mm(second)) == (-highest_mm(first), -lowest_mm(first))


def test_overlapped_shares_overlap_by_that_much(surface):
    block = m3.Manifold.cube((60.0, 40.0, 40.0), True)
    exact = cut_to_cell(block, SteppedParting(surface), 0.02).volume()
    deeper = cut_to_cell(block, SteppedParting(surface), 0.02, overlap_mm=0.5).volume()
    assert deeper - exact == pytest.approx(0.5 * 60 * 40, rel=1e-6)


def test_moved_shapes_keep_their_points():
    """A point given in the shape's own terms goes where the motion takes it."""
    turn = np.eye(4)
    a = np.radians(33.0)
    turn[:3, :3] = [[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]]
    turn[:3, 3] = (4.0, -2.0, 7.0)
    axis = (0.6, 0.0, 0.8)
    frustum = Frustum((1.0, 2.0, 3.0), axis, 5.0, 2.0, 1.0)
    moved = moved_shape(frustum, turn)
    tip = np.array([frustum.base]) + 5.0 * np.array([axis])
    assert np.array(moved.base) + 5.0 * np.array(moved.axis) == pytest.approx(transform(tip, turn)[0])
    dome = moved_shape(Dome((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 3.0, 1.0), turn)
    assert dome.base == pytest.approx((4.0, -2.0, 7.0))
    prism = Prism(((0.0, 0.0), (2.0, 0.0), (0.0, 1.0)), (), (1.0, 1.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 4.0)
    moved_prism = moved_shape(prism, turn)
    corner = np.array(moved_prism.origin) + 2.0 * np.array(moved_prism.x_axis)
    assert corner == pytest.approx(transform(np.array([[3.0, 1.0, 1.0]]), turn)[0])
