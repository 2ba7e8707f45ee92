"""Parts laid flat for the bed."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from handmade import Plan, handmade

from shellgen.export.layout import laid_size_mm, lay


@pytest.fixture(scope="module")
def mold():
    return handmade(Plan(segments=64))


def laid(part):
    return trimesh.transform_points(part.vertices_mm, lay(part))


def test_the_mating_face_lies_down_and_the_part_in_the_corner(mold):
    plan = Plan()
    for part in mold.parts[:2]:
        matrix, points = lay(part), laid(part)
        np.testing.assert_allclose(matrix[:3, :3] @ part.pull, [0, 0, 1], atol=1e-12)
        np.testing.assert_allclose(points.min(0), 0, atol=1e-9)
        keys = 4.0 if part.name == "shell A" else 0.0  # its male keys stand under the mating face
        flange = points[np.abs(points[:, 2] - keys) < 1e-6]
        assert np.ptp(flange[:, 0]) > 2 * (plan.ball + plan.rim)


def test_it_is_a_rigid_motion(mold):
    matrix = lay(mold.parts[0])
    np.testing.assert_allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3), atol=1e-12)
    assert np.linalg.det(matrix[:3, :3]) == pytest.approx(1)


def test_a_slanting_bar_is_turned_along_x(mold):
    box = trimesh.creation.box((120, 20, 5))
    turned = trimesh.transform_points(box.vertices, trimesh.transformations.euler_matrix(0.3, -0.8, 1.1))
    normal = trimesh.transformations.euler_matrix(0.3, -0.8, 1.1)[:3, 2]
    bar = replace(mold.parts[0], vertices_mm=turned, faces=box.faces.astype(np.int32), pull=tuple(normal))
    np.testing.assert_allclose(laid_size_mm(bar), [120, 20, 5], atol=1e-6)


def test_rubber_keeps_its_up(mold):
    matrix = lay(mold.parts[2])
    np.testing.assert_allclose(matrix[:3, :3] @ [0, 0, 1], [0, 0, 1], atol=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_the_rectangle_is_the_least_by_trying_all_angles(mold, seed):
    rng = np.random.default_rng(seed)
    points = (
        rng.normal(size=(4000, 3)) * [60, 25, 5] @ trimesh.transformations.random_rotation_matrix(rng.random(3))[:3, :3]
    )
    if seed % 2:
        points /= np.linalg.norm(points, axis=1)[:, None] / 50.0
    part = replace(mold.parts[0], vertices_mm=points, pull=(0.0, 0.0, 1.0))
    angles = np.radians(np.arange(0, 90, 0.25))
    along = np.outer(np.cos(angles), points[:, 0]) + np.outer(np.sin(angles), points[:, 1])
    across = np.outer(np.cos(angles), points[:, 1]) - np.outer(np.sin(angles), points[:, 0])
    least = (np.ptp(along, axis=1) * np.ptp(across, axis=1)).min()
    size = laid_size_mm(part)
    assert size[0] >= size[1]
    assert size[0] * size[1] <= least + 1e-6
    assert size[0] * size[1] > 0.98 * least
