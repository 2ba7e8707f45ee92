"""Crumbs of next to no volume do not reach the files; everything else does, unchanged."""

import numpy as np
import pytest
import trimesh

from shellgen.export.crumbs import without_crumbs


def test_a_speck_beside_a_box_is_taken_out():
    box = trimesh.creation.box((40.0, 30.0, 20.0))
    speck = trimesh.creation.box((0.125, 0.125, 0.125))
    speck.apply_translation([50.0, 0.0, 0.0])
    vertices = np.concatenate([box.vertices, speck.vertices])
    faces = np.concatenate([box.faces, speck.faces + len(box.vertices)]).astype(np.int32)
    points, kept = without_crumbs(vertices, faces)
    assert len(kept) == len(box.faces)
    assert trimesh.Trimesh(points, kept).volume == pytest.approx(40.0 * 30.0 * 20.0)


def test_a_whole_mesh_comes_back_as_it_was():
    ball = trimesh.creation.icosphere(subdivisions=3, radius=25.0)
    vertices = ball.vertices.astype(np.float32).astype(float)
    faces = ball.faces.astype(np.int32)
    points, kept = without_crumbs(vertices, faces)
    assert points is vertices and kept is faces
