"""The outer skin: near the surface, closed, and holding holes shut."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapes import ball, box, together, torus, volume

from shellgen.pattern.bodies import bodies_of, triangles_of
from shellgen.pattern.deviation import distances_mm, samples
from shellgen.pattern.flood import outside, squared_distance, without_islands
from shellgen.pattern.hull_mesh import boundary, split_edges
from shellgen.pattern.outer_skin import outer_skin
from shellgen.pattern.topology import topology
from shellgen.pattern.voxels import sorted_into_cells


def drawn(mesh, board=False):
    found = outer_skin(np.asarray(mesh[0], float), np.asarray(mesh[1], np.int32), board=board)
    assert found is not None
    return found


def gaps_to(mesh, points):
    """Distances to a mesh as trimesh finds them."""
    return np.abs(trimesh.proximity.closest_point(trimesh.Trimesh(*mesh, process=False), points)[1])


@pytest.mark.parametrize("mesh", [ball(20, 4), torus(18, 6), box((40, 22, 14))], ids=["ball", "torus", "box"])
def test_round_a_closed_body_it_is_the_body(mesh):
    found = drawn(mesh)
    vertices, faces = triangles_of(found.solid)
    assert found.solid.volume() == pytest.approx(volume(mesh), rel=5e-3)
    assert gaps_to((vertices, faces), samples(mesh[0], mesh[1], 3000)).max() < 0.15
    assert gaps_to(mesh, samples(vertices, faces, 3000)).max() < 0.15
    assert found.error_mm < 0.1
    assert found.closed_mm == 0
    assert len(bodies_of(found.solid)) == 1


def test_its_topology_is_the_bodys():
    assert drawn(torus(18, 6)).solid.genus() == 1


def test_flipped_crossing_and_doubled_triangles_do_not_matter():
    one, two = ball(15, 4), ball(15, 4)
    crossing = together(one, (two[0] + [18, 0, 0], two[1]))
    flip = np.random.default_rng(3).random(len(crossing[1])) < 0.5
    faces = np.where(flip[:, None], crossing[1][:, ::-1], crossing[1])
    found = drawn((crossing[0], np.vstack([faces, faces[:500]])))
    # Two balls of radius R at distance d share a lens of pi (4 R + d) (2 R - d)^2 / 12.
    lens = np.pi * (4 * 15 + 18) * (2 * 15 - 18) ** 2 / 12
    assert found.solid.volume() == pytest.approx(2 * 4 / 3 * np.pi * 15**3 - lens, rel=1e-2)


def test_a_hole_is_held_shut_and_marked_as_bridged():
    vertices, faces = ball(20, 5)
    gone = vertices[faces].mean(axis=1)[:, 2] > np.sqrt(20**2 - 2**2)  # a hole 4 mm across
    found = drawn((vertices, faces[~gone]))
    assert found.closed_mm > 0
    assert found.solid.volume() == pytest.approx(4 / 3 * np.pi * 20**3, rel=8e-3)
    bridge = found.vertices[found.bridged].reshape(-1, 3)
    assert len(bridge)
    assert (bridge[:, 2] > 18).all()


def test_the_hole_of_a_ring_stays_open():
    vertices, faces = torus(18, 6)
    found = drawn((vertices, faces[5:]))
    assert found.solid.genus() == 1


def test_on_a_board_a_dome_without_a_floor_is_solid():
    vertices, faces = ball(20, 4)
    keep = (vertices[faces][:, :, 2] >= -1e-9).all(axis=1)
    found = drawn((vertices, faces[keep]), board=True)
    standing = found.solid.trim_by_plane((0, 0, 1), 0)
    assert standing.volume() == pytest.approx(2 / 3 * np.pi * 20**3, rel=3e-2)


def test_cells_that_a_triangle_passes_hold_every_point_of_it():
    rng = np.random.default_rng(5)
    vertices, faces = rng.uniform(2, 28, (90, 3)), np.arange(90, dtype=np.int32).reshape(-1, 3)
    cells = sorted_into_cells(vertices, faces, np.zeros(3), 0.9, (34, 34, 34))
    at = np.floor(samples(vertices, faces, 20_000) / 0.9).astype(int)
    assert cells.occupied()[at[:, 0], at[:, 1], at[:, 2]].all()
    assert cells.occupied().mean() < 0.5


def test_nearest_points_agree_with_trimesh():
    mesh = torus(20, 7)
    points = np.random.default_rng(6).uniform(-28, 28, (400, 3))
    own = distances_mm(points, mesh[0], mesh[1].astype(np.int32), 60.0)
    assert own == pytest.approx(gaps_to(mesh, points), abs=1e-6)


def test_squared_distances_agree_with_scipy():
    from scipy.ndimage import distance_transform_edt

    mask = np.random.default_rng(7).random((23, 17, 29)) < 0.004
    exact = np.rint(distance_transform_edt(~mask) ** 2)
    own = squared_distance(mask, 8)
    assert np.array_equal(own[exact <= 64], exact[exact <= 64])
    assert (own[exact > 64] > 64).all()


def test_the_flood_stops_at_walls_and_comes_in_by_wide_holes_only():
    walls = np.zeros((40, 40, 40), bool)
    walls[8:32, 8:32, 8:32] = True
    walls[9:31, 9:31, 9:31] = False
    closed, radius = outside(walls, board=False)
    assert radius == 0
    assert not closed[20, 20, 20]
    walls[8, 19:21, 19:21] = False  # two cells wide: a ball of radius 1 passes no more
    held, radius = outside(walls, board=False)
    assert radius > 0
    assert not held[20, 20, 20]
    walls[8, 9:31, 9:31] = False  # a whole side open
    open_, _ = outside(walls, board=False)
    assert open_[20, 20, 20]


def test_islands_are_dropped():
    solid = np.zeros((30, 30, 30), bool)
    solid[2:20, 2:20, 2:20] = True
    solid[25, 25, 25] = True
    assert without_islands(solid, 1e-3).sum() == 18**3


def test_the_boundary_of_cells_is_closed_and_has_their_volume():
    solid = np.zeros((30, 30, 30), bool)
    solid[1:-1, 1:-1, 1:-1] = np.random.default_rng(8).random((28, 28, 28)) < 0.4
    vertices, faces = boundary(solid)
    top = topology(vertices, faces)
    assert (top.twins >= 0).all()
    assert volume((vertices, faces)) == pytest.approx(solid.sum(), rel=1e-9)


def test_splitting_edges_keeps_the_surface():
    vertices, faces = ball(30, 2)
    faces = faces.astype(np.int32)
    top = topology(vertices, faces)
    marked = np.random.default_rng(9).random(3 * len(faces)) < 0.4
    finer, ends = split_edges(top.faces, top.twins, marked, len(vertices))
    points = np.vstack([vertices, (vertices[ends[:, 0]] + vertices[ends[:, 1]]) / 2])
    assert len(finer) > len(faces)
    assert (topology(points, finer).twins >= 0).all()
    assert volume((points, finer)) == pytest.approx(volume((vertices, faces)), rel=1e-12)
