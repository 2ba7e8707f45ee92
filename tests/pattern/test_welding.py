"""Welding merges what is equal and nothing else."""

from __future__ import annotations

import numpy as np
from shapes import ball, box

from shellgen.pattern.weld import weld, without_back_to_back


def test_a_soup_of_corners_becomes_the_mesh_it_came_from():
    vertices, faces = ball(50, 3)
    soup = vertices[faces].reshape(-1, 3)
    welded = weld(soup, np.arange(len(soup), dtype=np.int32).reshape(-1, 3))
    assert len(welded.vertices) == len(vertices)
    assert np.array_equal(welded.vertices[welded.faces], vertices[faces])
    # Euler: V - E + F = 2 on a sphere with 3 F / 2 edges.
    assert len(welded.vertices) - 3 * len(welded.faces) // 2 + len(welded.faces) == 2


def test_minus_zero_is_zero_and_a_last_bit_is_not():
    near = np.nextafter(1.0, 2.0)
    points = np.array([[0.0, 0, 0], [-0.0, 0, -0.0], [1, 0, 0], [near, 0, 0], [0, 1, 0]])
    welded = weld(points, np.array([[0, 2, 4], [1, 3, 4]], np.int32))
    assert len(welded.vertices) == 4
    assert welded.faces[0, 0] == welded.faces[1, 0]


def test_collapsed_copied_and_back_to_back_triangles_are_told_apart():
    points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 0], [9, 9, 9]])
    faces = np.array([[0, 1, 2], [1, 2, 0], [0, 2, 1], [0, 1, 3], [2, 0, 3]], np.int32)
    welded = weld(points, faces)
    assert (welded.collapsed, welded.copies, welded.back_to_back) == (1, 2, 1)
    assert welded.faces.tolist() == [[0, 1, 2], [0, 2, 1]]
    assert len(welded.vertices) == 3  # the point that no triangle uses is gone
    assert without_back_to_back(welded.faces).tolist() == [[0, 1, 2]]


def test_a_doubled_file_is_the_single_one():
    vertices, faces = box((3, 4, 5))
    twice = weld(np.vstack([vertices, vertices]), np.vstack([faces, faces + len(vertices)]).astype(np.int32))
    assert twice.copies == len(faces)
    assert len(twice.faces) == len(faces)
