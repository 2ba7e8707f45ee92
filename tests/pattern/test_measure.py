"""Measuring: figures of bodies that can be worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapes import ball, box, together, torus

from shellgen.errors import PatternError
from shellgen.pattern.measure import measure


def measured(mesh):
    return measure(np.asarray(mesh[0], float), np.asarray(mesh[1], np.int32))


def test_a_box():
    found = measured(box((60, 40, 20), (5, 6, 7)))
    assert found.extents.tolist() == [60, 40, 20]
    assert found.area == pytest.approx(2 * (60 * 40 + 40 * 20 + 20 * 60))
    assert found.volume == pytest.approx(60 * 40 * 20)
    assert (found.bodies, found.closed_bodies, found.open_edges, found.crowded_edges) == (1, 1, 0, 0)
    assert found.flipped_share == 0
    assert found.flat_base_share == pytest.approx(1, abs=0.02)
    assert found.shadow == pytest.approx(60 * 40, rel=0.02)
    assert found.level_cut == 0
    assert np.allclose(found.principal_axes, np.eye(3), atol=1e-12)


def test_spreads_of_a_sphere_are_its_radius_over_root_three():
    found = measured(ball(30, 5))
    assert found.principal_spread == pytest.approx(np.full(3, 30 / np.sqrt(3)), rel=1e-3)
    assert found.flat_base_share < 0.02
    assert 0 < found.level_cut < 6


def test_principal_axes_turn_with_the_body():
    turn = trimesh.transformations.euler_matrix(0.3, 0.5, 0.7)[:3, :3]
    vertices, faces = box((90, 40, 10))
    axes = measured((vertices @ turn.T, faces)).principal_axes
    assert np.allclose(np.abs(axes @ turn), np.eye(3), atol=1e-9)


def test_bodies_holes_flips_and_copies_are_counted():
    one, two = torus(60, 20), box((10, 10, 10), (200, 0, 0))
    vertices, faces = together(one, two)
    faces = faces.copy()
    faces[7] = faces[7][::-1]
    found = measured((vertices, np.vstack([faces[:-1], faces[:3]])))
    assert (found.bodies, found.closed_bodies, found.open_edges, found.copies) == (2, 1, 3, 3)
    assert found.flipped_share == pytest.approx(1 / (len(faces) - 1))


def test_edges_of_three_faces_are_counted():
    vertices, faces = ball(30, 2)
    tip = np.vstack([vertices, vertices[faces[0]].mean(axis=0) * 2])
    found = measured((tip, np.vstack([faces, [faces[0, 0], faces[0, 1], len(vertices)]])))
    assert found.crowded_edges == 1


def test_nothing_but_lines():
    with pytest.raises(PatternError, match="collapsed"):
        measured((np.zeros((3, 3)), np.array([[0, 1, 2]])))
