"""The renderer against closed forms: silhouettes, depths, occlusion, cut faces."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from simple_solids import box, sphere

from shellgen.sheet.scene import fitted, look_along, three_quarter
from shellgen.sheet.zbuffer import Body, Clip, render

PAPER, INK = (255, 255, 255), (0, 0, 0)
RED, BLUE, CUT = (220, 40, 40), (40, 40, 220), (10, 200, 30)


def _camera(towards, points, size=(400, 300)):
    return fitted(look_along(towards), points, size, (20, 20, size[0] - 20, size[1] - 20))


@pytest.mark.parametrize("towards", [(0, 0, 1), (1, 0, 0), (0.3, -0.8, 0.5)])
def test_silhouette_of_a_sphere_is_a_disc(towards) -> None:
    vertices, faces = sphere(50.0, 5)
    camera = _camera(towards, vertices)
    picture = render([Body(vertices, faces, RED)], camera, PAPER, INK)
    area = np.count_nonzero(picture.body == 0) * (camera.mm_per_px / 2) ** 2
    assert area == pytest.approx(math.pi * 50.0**2, rel=0.01)


def test_depth_of_a_sphere_follows_its_equation() -> None:
    vertices, faces = sphere(50.0, 5)
    camera = _camera((0, 0, 1), vertices)
    depth = render([Body(vertices, faces, RED)], camera, PAPER, INK).depth_mm
    rows, columns = np.indices(depth.shape)
    x = ((columns + 0.5) / 2 - camera.middle_px[0]) * camera.mm_per_px
    y = (camera.middle_px[1] - (rows + 0.5) / 2) * camera.mm_per_px
    inner = x**2 + y**2 < 40.0**2
    assert np.abs(depth[inner] - np.sqrt(2500.0 - x[inner] ** 2 - y[inner] ** 2)).max() < 0.1
    assert np.isneginf(depth[x**2 + y**2 > 51.0**2]).all()


def test_the_nearer_body_hides_the_farther_whatever_the_order() -> None:
    near, far = box((20, 20, 2), (0, 0, 30)), box((60, 60, 2), (0, 0, 0))
    camera = _camera((0, 0, 1), far[0])
    for bodies, index in (((near, far), 0), ((far, near), 1)):
        picture = render([Body(*solid, RED) for solid in bodies], camera, PAPER, INK)
        middle = picture.body[picture.body.shape[0] // 2, picture.body.shape[1] // 2]
        assert middle == index
        area = np.count_nonzero(picture.body == index) * (camera.mm_per_px / 2) ** 2
        assert area == pytest.approx(400.0, rel=0.02)


def test_flat_face_towards_the_viewer_has_one_colour_and_inked_rim() -> None:
    vertices, faces = box((60, 40, 10), (0, 0, 0))
    picture = render([Body(vertices, faces, RED)], _camera((0, 0, 1), vertices), PAPER, INK)
    inside = picture.rgb[40:260, 60:340].reshape(-1, 3)
    assert (inside == inside[0]).all() and inside[0][0] > 3 * inside[0][2]
    rim = picture.rgb[150, :, 0].astype(int)
    assert rim.min() < inside[0][0] - 60  # a dark line where the face ends
    assert (picture.rgb[:10] == 255).all()


def test_a_cut_ball_shows_a_disc_of_the_cut_colour_in_the_plane() -> None:
    vertices, faces = sphere(50.0, 5)
    camera = _camera((0, 0, 1), vertices)
    level = 14.0
    body = Body(vertices, faces, RED, cap=CUT)
    picture = render([body], camera, PAPER, INK, Clip((0, 0, level), (0, 0, 1)))
    middle = picture.rgb.shape[0] // 2, picture.rgb.shape[1] // 2
    assert tuple(picture.rgb[middle]) == CUT
    # the disc's radius by Pythagoras
    cut = np.abs(picture.depth_mm + camera.centre[2] - level) < 1e-3
    area = np.count_nonzero(cut) * (camera.mm_per_px / 2) ** 2
    assert area == pytest.approx(math.pi * (50.0**2 - level**2), rel=0.01)


def test_what_is_not_cut_stands_in_front_of_the_cut_face() -> None:
    shell_v, shell_f = sphere(50.0, 4)
    inner = sphere(30.0, 4)
    body = Body(shell_v, shell_f, RED, cap=CUT)
    camera = _camera((0, 0, 1), shell_v)
    picture = render([body, Body(*inner, BLUE)], camera, PAPER, INK, Clip((0, 0, 0), (0, 0, 1)))
    area = np.count_nonzero(picture.body == 1) * (camera.mm_per_px / 2) ** 2
    assert area == pytest.approx(math.pi * 30.0**2, rel=0.01)


def test_row_bands_change_nothing() -> None:
    vertices, faces = sphere(50.0, 4)
    camera = replace(_camera((0.2, -1, 0.4), vertices), height_px=301)
    one, three = (render([Body(vertices, faces, RED)], camera, PAPER, INK, threads=n) for n in (1, 3))
    assert (one.rgb == three.rgb).all() and (one.depth_mm == three.depth_mm).all() and (one.body == three.body).all()


def test_vertex_colours_are_interpolated() -> None:
    vertices, faces = box((60, 40, 10), (0, 0, 0))
    colours = np.where(vertices[:, :1] > 0, [[200, 0, 0]], [[0, 0, 200]]).astype(np.float32)
    picture = render([Body(vertices, faces, RED, colours)], _camera((0, 0, 1), vertices), PAPER, INK)
    left, right = picture.rgb[150, 60].astype(int), picture.rgb[150, 340].astype(int)
    assert left[2] > 2 * left[0] and right[0] > 2 * right[2]


def test_contours_stand_a_step_apart() -> None:
    # a wedge that rises 30 over 60: contours every 10 of depth cross it at 3 places, 20 apart
    vertices = np.array([[0, 0, 0], [60, 0, 30], [60, 40, 30], [0, 40, 0]], float)
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    camera = _camera((0, 0, 1), vertices)
    row = render([Body(vertices, faces, RED)], camera, PAPER, INK, contour_mm=10.0).rgb[150, :, 0].astype(int)
    plain = render([Body(vertices, faces, RED)], camera, PAPER, INK).rgb[150, :, 0].astype(int)
    lines = np.flatnonzero(plain - row > 25)
    places = [group.mean() for group in np.split(lines, np.flatnonzero(np.diff(lines) > 3) + 1)]
    assert np.diff(places) * camera.mm_per_px == pytest.approx([20.0] * (len(places) - 1), abs=0.5)
    assert len(places) in (2, 3)


def test_an_empty_scene_is_blank_paper() -> None:
    picture = render([], three_quarter((1, 0, 0)), PAPER, INK)
    assert (picture.rgb == 255).all() and (picture.body == -1).all()


@pytest.mark.parametrize("towards", [(0, 0, 1), (0.3, -0.8, 0.5)])
def test_leaving_out_faces_that_look_away_changes_no_pixel(towards) -> None:
    solids = sphere(30.0, 4), box((80, 20, 20), (0, 10, 25))
    camera = _camera(towards, np.vstack([vertices for vertices, _ in solids]))
    pictures = [render([Body(*s, RED, closed=closed) for s in solids], camera, PAPER, INK) for closed in (False, True)]
    np.testing.assert_array_equal(pictures[0].rgb, pictures[1].rgb)
    vertices, faces = solids[0]
    inside_out = render(
        [Body(vertices, faces[:, ::-1].copy(), RED, closed=True)], _camera(towards, vertices), PAPER, INK
    )
    assert np.nanmax(np.where(inside_out.body == 0, inside_out.depth_mm, np.nan)) < 2.0  # half a face past the rim
