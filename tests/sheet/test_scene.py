"""Cameras and the layout of names: proper axes, everything in its frame, nothing on top of each other."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from shellgen.sheet import paper
from shellgen.sheet.scene import explode_offsets, fitted, look_along, three_quarter
from shellgen.sheet.strokes import Strokes
from shellgen.sheet.tags import Tag, draw_tags, spread

UNIT = st.floats(-1.0, 1.0)


@given(UNIT, UNIT, UNIT)
def test_camera_axes_are_right_handed_and_square(x: float, y: float, z: float) -> None:
    if np.hypot(np.hypot(x, y), z) < 1e-3:
        return
    axes = look_along((x, y, z)).axes
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0, abs=1e-9)


def test_three_quarter_view_stands_upright_in_front_and_above() -> None:
    camera = three_quarter((0.0, 1.0, 0.0), turn_deg=30.0, rise_deg=20.0)
    assert camera.up[2] > 0.9 and camera.towards[2] == pytest.approx(np.sin(np.radians(20.0)))
    assert np.dot(camera.right, (0.0, 1.0, 0.0)) == pytest.approx(np.cos(np.radians(30.0)))
    assert np.dot(camera.towards, (0.0, 1.0, 0.0)) > 0


def test_fitted_points_fill_their_frame_without_leaving_it() -> None:
    points = np.random.default_rng(5).normal(size=(500, 3)) * (300.0, 20.0, 80.0)
    seen = fitted(three_quarter((1.0, 0.0, 0.0)), points, (800, 600), (50, 80, 700, 560)).project(points)
    low, high = seen.min(0), seen.max(0)
    assert low[0] >= 50 - 1e-6 and high[0] <= 700 + 1e-6 and low[1] >= 80 - 1e-6 and high[1] <= 560 + 1e-6
    assert max((high[0] - low[0]) / 650, (high[1] - low[1]) / 480) == pytest.approx(1.0)


def test_one_mm_is_one_mm_in_every_direction_of_the_picture() -> None:
    camera = fitted(look_along((0.0, -1.0, 0.0)), np.array([[0.0, 0, 0], [100, 0, 50]]), (400, 300), (0, 0, 400, 300))
    a, b, c = camera.project(np.array([[0.0, 0, 0], [10, 0, 0], [0, 0, 10]]))
    assert (b - a)[:2] * camera.mm_per_px == pytest.approx([10.0, 0.0])
    assert (c - a)[:2] * camera.mm_per_px == pytest.approx([0.0, -10.0])


def test_exploded_parts_stand_clear_along_their_pulls() -> None:
    corners = np.array([[x, y, z] for x in (-1.0, 1) for y in (-1.0, 1) for z in (-1.0, 1)])
    points = {"A": corners * 5 + (0, 5, 0), "B": corners * 5 - (0, 5, 0), "cap": corners * 2 + (0, 9, 0)}
    pulls = {"A": (0.0, 1.0, 0.0), "B": (0.0, -1.0, 0.0), "cap": (0.0, 1.0, 0.0)}
    offsets = explode_offsets(("A", "B", "cap"), pulls, points, corners * 4, gap_mm=3.0)
    moved = {name: points[name] + offsets[name] for name in points}
    assert moved["A"][:, 1].min() == pytest.approx(4.0 + 3.0)
    assert moved["B"][:, 1].max() == pytest.approx(-4.0 - 3.0)
    assert moved["cap"][:, 1].min() == pytest.approx(moved["A"][:, 1].max() + 3.0)  # the later one lies further out
    assert all(abs(offset[0]) + abs(offset[2]) == 0.0 for offset in offsets.values())


@given(st.lists(st.floats(0.0, 1000.0), max_size=12))
def test_spread_keeps_order_and_distance_and_stays_inside(wanted: list[float]) -> None:
    placed = spread(sorted(wanted), 40.0, 0.0, 1000.0)
    assert all(b - a >= 40.0 - 1e-9 for a, b in pairwise(placed))
    assert all(-1e-9 <= y <= 1000.0 for y in placed)


def test_spread_leaves_alone_what_is_apart_already() -> None:
    assert spread([10.0, 100.0, 300.0], 40.0, 0.0, 400.0) == [10.0, 100.0, 300.0]


@pytest.mark.parametrize(("longest", "expected"), [(9.99, 5.0), (10.0, 10.0), (19.0, 10.0), (340.0, 200.0), (0.3, 0.2)])
def test_scale_bar_is_a_round_length(longest: float, expected: float) -> None:
    assert paper.round_length_mm(longest) == pytest.approx(expected)


def test_a_tag_takes_the_side_that_crosses_no_other_body() -> None:
    seen = np.full((1200, 1600), -1, np.int16)
    seen[150:800, 300:900], seen[400:800, 500:900] = 1, 0  # body 1 stands left of body 0 and above it
    page, strokes = paper.blank(), Strokes()
    draw_tags(page, strokes, [Tag("inner", (560.0, 600.0), body=0)], paper.FRAME, seen)
    strokes.ink(page)
    row = np.asarray(page.convert("L"))[600]
    assert (row[310:490] > 200).all() and (row[600:1300] < 120).all()


def test_banner_adds_a_red_strip_and_keeps_the_drawing() -> None:
    page = paper.blank()
    assert paper.banner(page, []) is page
    warned = paper.banner(page, ["rubber " * 60])
    assert warned.height > page.height
    pixels = np.asarray(warned)
    assert np.count_nonzero((pixels == paper.ALARM).all(2)) > 0.05 * pixels.shape[0] * pixels.shape[1]


def test_lettering_is_built_in_and_has_every_sign_that_is_used() -> None:
    face = paper.font(24)
    missing = bytes(face.getmask("\uffff"))
    for sign in "AZaz09.,:=()-/…'":
        assert bytes(face.getmask(sign)) != missing, sign


def test_strokes_draw_where_they_are_told() -> None:
    page, strokes = Image.new("RGB", (100, 60), paper.PAPER), Strokes()
    strokes.line([(10, 30), (90, 30)], (200, 0, 0), 4.0)
    strokes.ink(page)
    pixels = np.asarray(page)
    assert tuple(pixels[30, 50]) == (200, 0, 0) and tuple(pixels[20, 50]) == paper.PAPER
    before = pixels.copy()
    strokes.ink(page)  # nothing waits any more
    assert (np.asarray(page) == before).all()
