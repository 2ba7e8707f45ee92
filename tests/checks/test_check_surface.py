"""Distances, depth buffers and rays against closed forms."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from shellgen.checks.depth import tops, undersides, window_round
from shellgen.checks.rays import Rays
from shellgen.checks.surface import Surface, closest_on_triangles


def arrays(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts).astype(np.int32)


def test_closest_points_agree_with_trimesh():
    rng = np.random.default_rng(2)
    corners, points = rng.normal(size=(3000, 3, 3)), 2 * rng.normal(size=(3000, 3))
    corners[:50, 2] = corners[:50, 1]  # some without area
    expected = trimesh.triangles.closest_point(corners, points)
    ours = closest_on_triangles(points, corners)
    np.testing.assert_allclose(
        np.linalg.norm(ours - points, axis=1)[50:], np.linalg.norm(expected - points, axis=1)[50:], atol=1e-9
    )
    assert np.isfinite(ours).all()


def test_distance_to_a_box_is_exact_by_hand():
    surface = Surface.of(*arrays(m3.Manifold.cube((100, 60, 40), True)))
    points = np.array([[0, 0, 28], [57, 0, 0], [53, 34, 0], [52, 33, 26], [0, 0, 18.5]], float)
    expected = [8, 7, 5, np.sqrt(4 + 9 + 36), 1.5]
    lengths, feet = surface.distance(points)
    np.testing.assert_allclose(lengths, expected, atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(feet - points, axis=1), expected, atol=1e-9)
    rough = surface.rough_distance(points)
    assert (rough >= np.array(expected) - 1e-9).all()
    assert (rough < np.array(expected) + surface.spacing_mm).all()
    assert np.isinf(surface.rough_distance(points, within_mm=1.0)).all()


def test_samples_share_out_the_area_of_the_mesh():
    surface = Surface.of(*arrays(m3.Manifold.sphere(30, 100) + m3.Manifold.cube((90, 90, 1), True)))
    mesh = trimesh.Trimesh(surface.vertices, surface.faces)
    assert surface.areas.sum() == pytest.approx(mesh.area, rel=1e-9)
    own = trimesh.triangles.closest_point(mesh.triangles[surface.triangles], surface.samples)
    np.testing.assert_allclose(own, surface.samples, atol=1e-9)


def test_sides_of_a_box_and_a_spike_are_told_apart():
    spike = m3.Manifold.cylinder(60, 8, 0.0, 24)
    solid = m3.Manifold.cube((60, 60, 20), True) + spike
    surface = Surface.of(*arrays(solid))
    rng = np.random.default_rng(4)
    points = rng.uniform(-70, 70, (4000, 3))
    box = (np.abs(points) < [30, 30, 10]).all(1)
    polygon = 8 * (1 - points[:, 2] / 60)  # the cone's radius; its 24 sides lie up to 1 % inside
    reach = np.hypot(points[:, 0], points[:, 1])
    sure = (reach < 0.99 * polygon) | (reach > polygon) | box
    cone = (reach < polygon) & (points[:, 2] > 0) & (points[:, 2] < 60)
    np.testing.assert_array_equal(surface.outside(points)[sure], ~(box | cone)[sure])


def test_least_distance_of_two_balls_is_the_gap():
    one = Surface.of(*arrays(m3.Manifold.sphere(20, 200)))
    other = Surface.of(*arrays(m3.Manifold.sphere(10, 200).translate((35, 0, 0))))
    points, lengths, _ = one.least_distance(other.samples, refined=500)
    assert lengths.min() == pytest.approx(5.0, abs=0.02)
    assert points[lengths.argmin()] == pytest.approx([25, 0, 0], abs=1.0)


def test_depths_of_a_ball_are_those_of_the_sphere():
    vertices, faces = arrays(m3.Manifold.sphere(30, 400))
    window = window_round(vertices, 10**6, 0.5)
    low, high = undersides(vertices, faces, window), tops(vertices, faces, window)
    x = window.x0_mm + window.pitch_mm * np.arange(window.columns)
    y = window.y0_mm + window.pitch_mm * np.arange(window.rows)
    inside = 28.0**2 - x[None] ** 2 - y[:, None] ** 2 > 0
    height = np.sqrt(np.where(inside, 900 - x[None] ** 2 - y[:, None] ** 2, 0))
    np.testing.assert_allclose(high[inside], height[inside], atol=0.01)
    np.testing.assert_allclose(low[inside], -height[inside], atol=0.01)
    assert np.isinf(high[0, 0])


def test_no_crack_opens_between_triangles():
    vertices, faces = arrays(m3.Manifold.cube((10, 10, 2)).refine(8))
    window = window_round(vertices, 10**6, 1.25 / 3)
    low, high = undersides(vertices, faces, window), tops(vertices, faces, window)
    within = np.isfinite(high)
    assert within[:-1, :-1].all()
    assert (high[within] == 2).all()
    assert (low[within] == 0).all()


def test_a_window_never_holds_more_lines_than_allowed():
    corners = np.array([[0, 0, 0], [1000, 700, 0]], float)
    window = window_round(corners, 10_000, 0.1)
    assert window.rows * window.columns < 11_000
    assert window.pitch_mm == pytest.approx(np.sqrt(70))


def test_rays_measure_a_box():
    rays = Rays.of(*arrays(m3.Manifold.cube((10, 20, 30), True)))
    ways = np.array([[1, 0, 0], [0, 1, 0], [0, 0, -1]], float)
    lengths, faces = rays.shoot(np.zeros((3, 3)), ways, 100.0)
    np.testing.assert_allclose(lengths, [5, 10, 15], atol=1e-6)
    assert (faces >= 0).all()
    missed, none = rays.shoot(np.full((1, 3), 50.0), np.array([[1.0, 0, 0]]), 100.0)
    assert np.isinf(missed[0])
    assert none[0] == -1
