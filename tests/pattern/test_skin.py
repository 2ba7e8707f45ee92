"""The skin: closed forms for bodies in any state."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import assert_closed_solid, ball, box, skin, together, torus, volume

from shellgen.errors import PatternError
from shellgen.pattern.bodies import bodies_of, triangles_of


def solid_volume(closed):
    return closed.as_solid().volume()


def without(mesh, gone):
    """The mesh less the faces in the mask."""
    return mesh[0], mesh[1][~gone]


def test_a_closed_body_keeps_its_own_triangles():
    mesh = torus(60, 20)
    closed = skin(mesh)
    assert closed.method == "as it is"
    assert closed.error_mm == 0
    assert closed.volume_mm3 == pytest.approx(volume(mesh), rel=1e-12)
    assert np.array_equal(closed.vertices[closed.faces], mesh[0][mesh[1]])


def test_a_body_turned_inside_out_is_turned_back():
    vertices, faces = ball(50, 3)
    closed = skin((vertices, faces[:, ::-1]))
    assert closed.volume_mm3 == pytest.approx(volume((vertices, faces)), rel=1e-12)
    assert volume((closed.vertices, closed.faces)) > 0


@given(st.integers(0, 2**32 - 1), st.floats(0.02, 0.98))
@settings(max_examples=15, deadline=None)
def test_randomly_flipped_faces_are_turned_over(seed, share):
    vertices, faces = torus(60, 20)
    flip = np.random.default_rng(seed).random(len(faces)) < share
    faces = np.where(flip[:, None], faces[:, ::-1], faces)
    closed = skin((vertices, faces))
    assert closed.method == "as it is"
    assert closed.volume_mm3 == pytest.approx(volume(torus(60, 20)), rel=1e-12)
    assert_closed_solid(closed.vertices, closed.faces)


def test_a_body_inside_another_adds_nothing():
    closed = skin(together(box((100, 100, 100)), box((40, 40, 40), (30, 30, 30))))
    assert solid_volume(closed) == pytest.approx(1e6, rel=1e-9)


def test_a_hollow_is_filled_and_what_floats_in_it_is_swallowed():
    outer, inner, core = box((100, 100, 100)), box((60, 60, 60), (20, 20, 20)), box((20, 20, 20), (40, 40, 40))
    closed = skin(together(outer, (inner[0], inner[1][:, ::-1]), core))
    assert solid_volume(closed) == pytest.approx(1e6, rel=1e-9)
    assert len(bodies_of(closed.as_solid())) == 1


def test_overlapping_bodies_are_united():
    closed = skin(together(box((100, 50, 50)), box((50, 100, 50), (50, 0, 0)), box((10, 10, 10), (200, 0, 0))))
    # 100 x 50 x 50 twice, less the shared 50 x 50 x 50, and a small one apart.
    assert solid_volume(closed) == pytest.approx(2 * 250_000 - 125_000 + 1000, rel=1e-9)
    assert len(bodies_of(closed.as_solid())) == 2


def test_bodies_that_shut_in_a_hollow_together_fill_it():
    walls = [box((100, 100, 20)), box((100, 100, 20), (0, 0, 80))]
    walls += [box((20, 100, 70), (x, 0, 15)) for x in (0, 80)] + [box((70, 20, 70), (15, y, 15)) for y in (0, 80)]
    assert solid_volume(skin(together(*walls))) == pytest.approx(1e6, rel=1e-9)


def test_two_boxes_that_share_a_wall_are_one():
    closed = skin(together(box((50, 50, 50)), box((50, 50, 50), (50, 0, 0))))
    assert solid_volume(closed) == pytest.approx(250_000, rel=1e-9)
    assert len(bodies_of(closed.as_solid())) == 1


def test_two_boxes_that_touch_along_an_edge_keep_their_volume():
    closed = skin(together(box((50, 50, 50)), box((50, 50, 50), (50, 50, 0))))
    assert closed.method == "as it is"
    assert solid_volume(closed) == pytest.approx(250_000, rel=1e-9)


def test_two_thousand_loose_bodies():
    grid = [box((4, 4, 4), (6.0 * i, 6.0 * j, 6.0 * k)) for i in range(20) for j in range(20) for k in range(5)]
    closed = skin(together(*grid))
    assert solid_volume(closed) == pytest.approx(2000 * 64, rel=1e-9)
    assert len(bodies_of(closed.as_solid())) == 2000


def test_a_body_written_twice_and_a_body_written_for_both_sides():
    vertices, faces = ball(40, 3)
    for second in (faces, faces[:, ::-1]):
        closed = skin((vertices, np.vstack([faces, second])))
        assert solid_volume(closed) == pytest.approx(volume((vertices, faces)), rel=1e-9)


def test_a_ball_with_a_flat_hole_loses_the_segment_above_it():
    mesh = trimesh.creation.uv_sphere(radius=50, count=(64, 128))
    z = mesh.vertices[:, 2]
    level = np.sort(np.unique(z.round(9)))[-12]
    gone = (z[mesh.faces] > level - 1e-6).all(axis=1)
    closed = skin(without((mesh.vertices, mesh.faces), gone))
    assert closed.method == "holes capped"
    assert closed.error_mm == 0
    # Spherical segment of height h: pi h^2 (3 R - h) / 3; the facets lie inside the ball by a few parts in a thousand.
    h = 50 - level
    exact = 4 / 3 * np.pi * 50**3 - np.pi * h**2 * (3 * 50 - h) / 3
    assert solid_volume(closed) == pytest.approx(exact, rel=3e-3)
    assert solid_volume(closed) == pytest.approx(volume(trimesh_cut(mesh, level)), rel=1e-9)
    lid = closed.faces[len(mesh.faces) - gone.sum() :]
    assert np.allclose(closed.vertices[lid][:, :, 2], level)


def trimesh_cut(mesh, level):
    cut = mesh.slice_plane([0, 0, level], [0, 0, -1], cap=True, engine="manifold")
    return np.asarray(cut.vertices), np.asarray(cut.faces)


def test_a_pipe_open_at_both_ends_gets_ring_caps():
    outer, inner = trimesh.creation.cylinder(30, 80, sections=96), trimesh.creation.cylinder(20, 80, sections=96)
    walls = [np.abs(m.face_normals[:, 2]) < 0.5 for m in (outer, inner)]
    open_end = together((outer.vertices, outer.faces[walls[0]]), (inner.vertices, inner.faces[walls[1]][:, ::-1]))
    # One part: join the walls by a ring at the bottom, and leave the top open as two loops in one plane.
    rim = [np.flatnonzero((m.vertices[:, 2] < 0) & (np.hypot(*m.vertices.T[:2]) > 1)) for m in (outer, inner)]
    angle = [np.arctan2(m.vertices[r, 1], m.vertices[r, 0]) for r, m in zip(rim, (outer, inner), strict=True)]
    a, b = rim[0][np.argsort(angle[0])], rim[1][np.argsort(angle[1])] + len(outer.vertices)
    ring = np.vstack([np.column_stack([a, b, np.roll(a, -1)]), np.column_stack([np.roll(a, -1), b, np.roll(b, -1)])])
    closed = skin((open_end[0], np.vstack([open_end[1], ring])))
    assert closed.method == "holes capped"
    # Prisms with 96 sides: area n/2 r^2 sin(2 pi / n).
    area = 48 * np.sin(2 * np.pi / 96) * (30**2 - 20**2)
    assert solid_volume(closed) == pytest.approx(80 * area, rel=1e-9)


def test_a_bent_hole_is_capped_with_little_area():
    vertices, faces = torus(60, 20)
    middle = vertices[faces].mean(axis=1)
    gone = np.linalg.norm(middle - [80, 0, 0], axis=1) < 9
    closed = skin(without((vertices, faces), gone))
    assert closed.method == "holes capped"
    assert solid_volume(closed) == pytest.approx(volume((vertices, faces)), rel=5e-3)
    assert_closed_solid(*triangles_of(closed.as_solid()))


def test_cracks_of_rounding_size_are_welded():
    vertices, faces = ball(50, 3)
    soup = vertices[faces].reshape(-1, 3) + np.random.default_rng(1).uniform(-2e-4, 2e-4, (3 * len(faces), 3))
    closed = skin((soup, np.arange(len(soup)).reshape(-1, 3)))
    assert closed.method == "holes capped"
    assert solid_volume(closed) == pytest.approx(volume((vertices, faces)), rel=1e-4)
    assert closed.error_mm <= 0.01


def test_a_fin_on_a_body_is_left_out_of_its_skin_but_still_covered():
    vertices, faces = ball(50, 3)
    tip = vertices[faces[100]].mean(axis=0) * 1.2
    fin = [faces[100, 0], faces[100, 1], len(vertices)]
    closed = skin((np.vstack([vertices, tip]), np.vstack([faces, fin])))
    assert closed.method == "holes capped"
    assert solid_volume(closed) == pytest.approx(volume((vertices, faces)), rel=1e-3)
    reach = np.linalg.norm(closed.vertices[closed.faces].reshape(-1, 3), axis=1).max()
    assert reach == pytest.approx(np.linalg.norm(tip))


def test_a_sheet_gets_a_thickness_it_states():
    mesh = trimesh.creation.box((120, 80, 1))
    flat = mesh.vertices[:, 2] > 0
    sheet = (mesh.vertices, mesh.faces[flat[mesh.faces].all(axis=1)])
    closed = skin(sheet)
    assert closed.method == "outer skin"
    assert 0.3 * 120 * 80 < solid_volume(closed) < 1.1 * 121 * 81
    assert 0.1 < closed.error_mm < 0.55
    assert "outer skin was drawn" in " ".join(closed.notes)
    assert_closed_solid(*triangles_of(closed.as_solid()))


def test_nothing_closed_and_nothing_to_draw_a_skin_round():
    under_the_board = np.array([[0.0, 0, -5], [50, 0, -5], [50, 40, -5]])
    with pytest.raises(PatternError, match="enclose no solid"):
        skin((under_the_board, np.array([[0, 1, 2]])), board=True)
