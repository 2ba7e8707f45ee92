"""The demo patterns: closed, of the promised size, the same every time."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
import trimesh
from shapes import assert_closed_solid

from shellgen.errors import PatternError
from shellgen.job.model import MountSettings, PatternSettings, Settings
from shellgen.pattern.demo import make_demo, write_demo
from shellgen.pattern.intake import take_in


@pytest.mark.parametrize(("name", "height", "least_across"), [("gate-finial", 380, 100), ("horn-bell", 450, 280)])
def test_demo_is_a_closed_body_of_its_size(name, height, least_across):
    vertices, faces = make_demo(name)
    assert_closed_solid(vertices, faces)
    assert 40_000 <= len(faces) <= 150_000
    low, high = vertices.min(0), vertices.max(0)
    assert low[2] == 0
    assert high[2] == pytest.approx(height)
    assert (high - low)[:2].min() > least_across
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.euler_number == 2
    assert mesh.body_count == 1


def test_the_finial_has_a_narrow_waist():
    vertices, _ = make_demo("gate-finial")
    radius = np.hypot(vertices[:, 0], vertices[:, 1])
    waist = radius[(vertices[:, 2] > 140) & (vertices[:, 2] < 150)].max()
    assert waist < 0.3 * radius.max()


def test_demos_taken_in_on_their_mounts(tmp_path):
    finial = Settings(pattern=PatternSettings(demo="gate-finial"), mount=MountSettings(kind="stem"))
    bell = Settings(pattern=PatternSettings(demo="horn-bell"), mount=MountSettings(kind="board"))
    on_stem, on_board = take_in(finial, tmp_path), take_in(bell, tmp_path)
    assert on_stem.skin.method == on_board.skin.method == "as it is"
    # The bell's mouth: a disc of radius 145, its rim bead rising from there.
    assert on_board.footprint.area == pytest.approx(np.pi * 145**2, rel=1e-2)
    assert on_stem.bounds_mm[1, 2] == pytest.approx(380 + 38)
    assert on_stem.sha256 == hashlib.sha256(make_demo("gate-finial")[0].tobytes()).hexdigest()
    again = take_in(finial, tmp_path)
    assert np.array_equal(again.skin.vertices_mm, on_stem.skin.vertices_mm)
    assert np.array_equal(again.skin.faces, on_stem.skin.faces)


def test_a_demo_written_as_stl_reads_back(tmp_path):
    path = tmp_path / "bell.stl"
    write_demo("horn-bell", path)
    mesh = trimesh.load(path, force="mesh")
    vertices, faces = make_demo("horn-bell")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(trimesh.Trimesh(vertices, faces, process=False).volume, rel=1e-5)


def test_an_unknown_demo_names_the_known_ones():
    with pytest.raises(PatternError, match="gate-finial, horn-bell"):
        make_demo("trumpet")
