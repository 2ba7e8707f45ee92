"""The offset body against Steiner's formula, and on leaky meshes."""

from __future__ import annotations

import numpy as np
import parting_shapes as shapes
import pytest
import trimesh

from shellgen.errors import PatternError
from shellgen.parting.columns import columns_along
from shellgen.parting.offset_body import offset_body


def test_box_grows_by_steiner():  # 60 x 40 x 20 by 5: 101948.377 mm³
    body = offset_body(*shapes.as_arrays(trimesh.creation.box((60, 40, 20))), thickness_mm=5)
    assert body.volume_mm3 == pytest.approx(101948.377, rel=5e-3)


def test_error_falls_with_the_voxel():
    exact = 4 / 3 * np.pi * 60**3
    vertices, faces = shapes.as_arrays(shapes.sphere(30))
    errors = [exact - offset_body(vertices, faces, thickness_mm=30, voxels_along=n).volume_mm3 for n in (9, 18)]
    assert errors[0] > 0 and errors[0] / errors[1] > 2.5  # second order in the voxel


def test_mesh_closes_and_points_outwards():
    body = offset_body(*shapes.as_arrays(shapes.torus()), thickness_mm=4)
    mesh = trimesh.Trimesh(body.vertices_mm, body.faces, process=False)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
    assert mesh.volume == pytest.approx(2 * np.pi**2 * 40 * 14**2, rel=4e-3)  # Pappus


def test_flipped_faces_and_pinholes_change_nothing():
    vertices, faces = shapes.as_arrays(shapes.sphere(30))
    whole = offset_body(vertices, faces, thickness_mm=6)
    rng = np.random.default_rng(3)
    broken = faces[rng.random(len(faces)) > 0.02]
    turned = rng.random(len(broken)) < 0.1
    broken[turned] = broken[turned][:, ::-1]
    assert offset_body(vertices, broken, thickness_mm=6).volume_mm3 == pytest.approx(whole.volume_mm3, rel=2e-3)


def test_wide_hole_is_bridged_when_the_volume_is_known():
    vertices, faces = shapes.as_arrays(shapes.sphere(60))
    middles = vertices[faces].mean(1)
    open_top = faces[np.hypot(middles[:, 0], middles[:, 1]) + np.where(middles[:, 2] > 0, 0, 99) > 15]
    exact = 4 / 3 * np.pi * 64**3
    hollow = offset_body(vertices, open_top, thickness_mm=4)
    assert hollow.volume_mm3 < 0.4 * exact
    mended = offset_body(vertices, open_top, thickness_mm=4, volume_mm3=4 / 3 * np.pi * 60**3)
    assert mended.volume_mm3 == pytest.approx(exact, rel=0.02)
    assert mended.closed_mm > 8


def test_thin_plate_is_not_taken_for_a_leak():
    plate = trimesh.creation.box((80, 60, 1))
    body = offset_body(*shapes.as_arrays(plate), thickness_mm=5, volume_mm3=4800)
    assert body.closed_mm == pytest.approx(10)


def test_no_triangles_is_refused():
    with pytest.raises(PatternError, match="no triangles"):
        offset_body(np.zeros((0, 3)), np.zeros((0, 3), np.int32), thickness_mm=5)


def test_board_closes_an_open_base():  # half a ball standing open on its board, and the same closed by triangles
    vertices, faces = shapes.as_arrays(shapes.sphere(60))
    dome = faces[(vertices[faces][:, :, 2] >= -1e-9).all(1)]
    body = offset_body(vertices, dome, thickness_mm=5, on_board=True)
    columns = columns_along(body, np.array([1.0, 0, 0]), on_board=True, nodes_along=150)
    exact = 2 / 3 * np.pi * 65**3  # half of the grown ball, cut by the board
    assert columns.volume_mm3 == pytest.approx(exact, rel=0.01)
    sheet = np.array([[-99.0, -99, 0], [99, -99, 0], [0, 99, 0]])  # a stray sheet in the board's plane
    strayed = np.vstack([dome, [[len(vertices), len(vertices) + 1, len(vertices) + 2]]]).astype(np.int32)
    again = offset_body(np.vstack([vertices, sheet]), strayed, thickness_mm=5, on_board=True)
    volume = columns_along(again, np.array([1.0, 0, 0]), on_board=True, nodes_along=150).volume_mm3
    assert volume == pytest.approx(exact, rel=0.01)
