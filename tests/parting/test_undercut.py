"""The undercut map against the geometry of a sphere parted off its centre."""

from __future__ import annotations

import numpy as np
import parting_shapes as shapes
import pytest
import trimesh

from shellgen.parting.columns import columns_along
from shellgen.parting.plane_cost import cost_plane
from shellgen.parting.rank import prepare
from shellgen.parting.undercut import plane_undercuts, undercut_map

UP = np.array([0.0, 0.0, 1.0])
RADIUS, RUBBER, OFFSET = 30.0, 8.0, 20.0


def rubber_over(z: np.ndarray) -> np.ndarray:
    """Rubber over a sphere's point at height z, parted at z = OFFSET, pulled along z: a cylinder fills the undercut."""
    out = np.sqrt(RADIUS**2 - z**2)
    wall = RADIUS + RUBBER - out
    rim = np.hypot(np.sqrt((RADIUS + RUBBER) ** 2 - OFFSET**2) - out, OFFSET - z)
    round_the_ball = (z <= 0) | (z * (RADIUS + RUBBER) / RADIUS >= OFFSET)
    return np.where(round_the_ball, RUBBER, np.minimum(wall, rim))


@pytest.fixture(scope="module")
def sphere_map():
    vertices, _ = shapes.as_arrays(shapes.sphere(RADIUS))
    columns = columns_along(shapes.as_body(shapes.sphere(RADIUS + RUBBER)), UP, nodes_along=200)
    return vertices, undercut_map(vertices, columns, OFFSET, thickness_mm=RUBBER, keep_mm=1.0), columns


def test_excess_is_the_distance_to_the_filled_jacket(sphere_map):
    vertices, found, columns = sphere_map
    expected = rubber_over(vertices[:, 2]) - RUBBER
    assert np.abs(found.excess_mm - expected).max() < 1.5 * columns.grid.pitch_mm
    assert expected.max() > 2


def test_deepest_spots_lie_under_the_plane(sphere_map):
    _, found, _ = sphere_map
    z = np.linspace(0, OFFSET, 2001)
    assert found.spots[0].excess_mm == pytest.approx((rubber_over(z) - RUBBER).max(), abs=0.3)
    assert all(0 < spot.at_mm[2] < OFFSET for spot in found.spots)
    depths = [spot.excess_mm for spot in found.spots]
    assert depths == sorted(depths, reverse=True)
    places = np.array([spot.at_mm for spot in found.spots])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2) + 1e9 * np.eye(len(places))
    assert apart.min() > 3 * RUBBER


def test_through_the_centre_nothing_is_in_excess(sphere_map):
    vertices, _, columns = sphere_map
    found = undercut_map(vertices, columns, 0.0, thickness_mm=RUBBER)
    assert found.excess_mm.max() < 0.3 and found.spots == ()


def test_a_surface_counts_like_the_plane_it_equals(sphere_map):
    vertices, found, columns = sphere_map
    level = np.full(columns.upper_mm.shape, OFFSET)
    same = undercut_map(vertices, columns, level, thickness_mm=RUBBER, keep_mm=1.0)
    assert np.array_equal(same.excess_mm, found.excess_mm)


def test_what_stands_on_the_board_has_no_rubber_over_it(sphere_map):
    vertices, found, columns = sphere_map
    stood = undercut_map(vertices, columns, OFFSET, thickness_mm=RUBBER, keep_mm=1.0, on_board=True)
    over = vertices[:, 2] > 0.05
    assert not stood.excess_mm[~over].any()
    np.testing.assert_array_equal(stood.excess_mm[over], found.excess_mm[over])


def test_no_rubber_lies_over_the_opening_on_the_board():
    """A block on a board parts clean: its base is the opening, however far from the jacket its middle is."""
    block = trimesh.creation.box((80.0, 60.0, 40.0)).apply_translation((0, 0, 20.0)).subdivide_to_size(8.0)
    vertices, faces = shapes.as_arrays(block)
    work = prepare(vertices, faces, thickness_mm=RUBBER, mount="board", volume_mm3=80.0 * 60 * 40, draft_deg=0.5)
    found = plane_undercuts(work, cost_plane(work, np.array([0.0, 1.0, 0.0]), 0.0), vertices, stepped=False)
    assert (vertices[:, 2] < 1e-6).sum() > 50
    assert found.excess_mm[vertices[:, 2] < 1e-6].max() == 0.0
    assert found.spots == ()
