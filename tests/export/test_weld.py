"""Welding to float32, judged by trimesh and manifold3d on what a reader of the file sees."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from shellgen.errors import KernelError
from shellgen.export.stl import write_stl
from shellgen.export.weld import joined_points, weld_float32


def arrays(solid):
    mesh = solid.to_mesh64()
    return np.asarray(mesh.vert_properties[:, :3], float), np.asarray(mesh.tri_verts).astype(np.int32)


def read_back(path):
    """What a stranger reads: float32 corners, equal points joined."""
    mesh = trimesh.load(path)
    kernel = m3.Manifold(m3.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert kernel.status() == m3.Error.NoError
    return mesh


def drilled_ball(seed, at=(2000.0, -1900.0, 1500.0)):
    """A ball at 2 m from the origin, with hair-thin slots and rods at random angles."""
    rng = np.random.default_rng(seed)
    solid = m3.Manifold.sphere(60, 96).rotate(rng.uniform(0, 360, 3)).translate(at)
    for _ in range(5):
        where = np.asarray(at) + rng.uniform(-30, 30, 3)
        solid -= m3.Manifold.cube((200, 30, 2e-4), True).rotate(rng.uniform(0, 360, 3)).translate(where)
        solid += m3.Manifold.cylinder(80, 5, 5, 64).rotate(rng.uniform(0, 360, 3)).translate(where)
    return solid


@pytest.mark.parametrize("seed", range(6))
def test_booleans_of_turned_shapes_far_from_the_origin_stay_manifold(seed, tmp_path):
    solid = drilled_ball(seed)
    vertices, faces, _ = weld_float32(*arrays(solid))
    write_stl(tmp_path / "a.stl", vertices, faces)
    mesh = read_back(tmp_path / "a.stl")
    assert len(mesh.vertices) == len(vertices)  # the reader joins nothing that we did not
    assert mesh.volume == pytest.approx(solid.volume(), rel=1e-5)


@pytest.mark.parametrize("thickness", [3e-5, 1e-4, 3e-4])
@pytest.mark.parametrize("seed", range(3))
def test_films_thinner_than_a_float32_step_are_cured_or_vanish(seed, thickness, tmp_path):
    # at 2000 mm neighbouring float32 values are 1.2e-4 mm apart
    rng = np.random.default_rng(seed)
    at, turn = rng.uniform(-2000, 2000, 3), rng.uniform(0, 360, 3)
    block = m3.Manifold.cube((20, 20, 20), True).translate((0, 0, 40))
    film = m3.Manifold.cube((100, 80, thickness), True).refine(30)
    solid = (film + block).rotate(turn).translate(at)
    vertices, faces, report = weld_float32(*arrays(solid))
    write_stl(tmp_path / "a.stl", vertices, faces)
    mesh = read_back(tmp_path / "a.stl")
    assert report.dropped > 0
    assert mesh.volume == pytest.approx(8000, abs=8)  # the block; the film itself is worth 2.4 mm3 at most


def test_two_cubes_that_share_an_edge_are_parted_by_a_nudge(tmp_path):
    cube = m3.Manifold.cube((50, 50, 50))
    solid = (cube + cube.translate((50, 50, 0))).rotate((0, 0, 27)).translate((1500, 0, 0))
    vertices, faces = arrays(solid)
    naive = trimesh.Trimesh(vertices.astype(np.float32), faces, process=True)
    naive.merge_vertices()
    assert not naive.is_watertight  # the damage is there to be cured
    fixed, triangles, report = weld_float32(vertices, faces)
    write_stl(tmp_path / "a.stl", fixed, triangles)
    assert read_back(tmp_path / "a.stl").volume == pytest.approx(250_000, rel=1e-5)
    assert report.nudged == 2
    assert 0 < report.nudge_mm < 5e-4


def test_cones_that_touch_in_a_point_are_parted(tmp_path):
    cone = m3.Manifold.cylinder(20, 10, 0, 32)
    solid = m3.Manifold.compose([cone, cone.mirror((0, 0, 1)).translate((0, 0, 40))])
    vertices, _, report = weld_float32(*arrays(solid))
    assert report.pinched == 0
    assert report.nudged == 1
    assert len(vertices) == 66


def test_what_comes_out_is_float32_exactly_and_the_input_is_untouched():
    vertices, faces = arrays(m3.Manifold.sphere(33.3, 64).translate((100.1, 7, -3)))
    before = vertices.copy(), faces.copy()
    points, triangles, report = weld_float32(vertices, faces)
    assert points.dtype == np.float64
    assert (points == points.astype(np.float32)).all()
    assert len(np.unique(points, axis=0)) == len(points)
    assert np.abs(points - vertices).max() < 1.2e-5
    assert (report.merged, report.dropped, report.nudged) == (0, 0, 0)
    assert triangles.shape == faces.shape
    np.testing.assert_array_equal(vertices, before[0])
    np.testing.assert_array_equal(faces, before[1])


def test_joining_agrees_with_numpy_unique():
    rng = np.random.default_rng(3)
    vertices = rng.integers(-4, 5, (4000, 3)) * 0.1
    points, group = joined_points(vertices)
    assert len(points) == len(np.unique(vertices.astype(np.float32), axis=0))
    np.testing.assert_allclose(points[group], vertices, atol=1e-7)


def test_same_input_same_bytes():
    vertices, faces = arrays(drilled_ball(4))
    one, two = weld_float32(vertices, faces), weld_float32(vertices.copy(), faces.copy())
    assert one[0].tobytes() == two[0].tobytes()
    assert one[1].tobytes() == two[1].tobytes()


def test_an_open_mesh_is_refused():
    vertices, faces = arrays(m3.Manifold.cube((10, 10, 10)))
    with pytest.raises(KernelError, match="not closed"):
        weld_float32(vertices, faces[1:])


def test_a_turned_triangle_is_refused():
    vertices, faces = arrays(m3.Manifold.cube((10, 10, 10)))
    faces[0] = faces[0][::-1]
    with pytest.raises(KernelError, match="consistently wound"):
        weld_float32(vertices, faces)


def test_an_empty_mesh_is_refused():
    with pytest.raises(KernelError, match="no triangles"):
        weld_float32(np.empty((0, 3)), np.empty((0, 3), np.int32))


def test_a_third_of_a_million_triangles_take_less_than_a_second():
    import time

    vertices, faces = arrays(m3.Manifold.sphere(150, 780))
    assert len(faces) > 300_000
    start = time.perf_counter()
    weld_float32(vertices, faces)
    assert time.perf_counter() - start < 1.0  # 0.13 s alone on two cores; room for a busy machine
