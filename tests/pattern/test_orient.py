"""Orientation: units, size, up, turns and mirror do to the mesh what they say."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import assert_closed_solid, ball, box, taken, together, volume, written

from shellgen.errors import PatternError
from shellgen.job.model import PatternSettings
from shellgen.pattern.orient import file_to_mold, moved, turning

ANGLE = st.floats(-720, 720, allow_nan=False)
UP = {"+x": (1, 0, 0), "-x": (-1, 0, 0), "+y": (0, 1, 0), "-y": (0, -1, 0), "+z": (0, 0, 1), "-z": (0, 0, -1)}


def crooked():
    """A body without any symmetry: three boxes side by side, touching nowhere."""
    return together(box((30, 10, 8)), box((9, 12, 20), (3, 11, 1)), box((5, 6, 7), (40, 2, 30)))


@given(st.floats(0.05, 20), st.tuples(ANGLE, ANGLE, ANGLE), st.sampled_from(sorted(UP)), st.booleans())
@settings(max_examples=40, deadline=None)
def test_volume_follows_the_cube_of_the_scale_whatever_the_turn(scale, turns, up, mirror):
    vertices, faces = crooked()
    asked = PatternSettings(file="x", scale=scale, rotate_deg=turns, up=up, mirror=mirror)
    if not 10 <= scale * np.ptp(vertices, axis=0).max() <= 5000:
        return
    matrix = file_to_mold(asked, vertices, "x")
    assert np.linalg.det(matrix[:3, :3]) == pytest.approx((-1 if mirror else 1) * scale**3, rel=1e-9)
    placed = moved(vertices, matrix)
    turned = faces[:, ::-1] if mirror else faces
    assert volume((placed, turned)) == pytest.approx(scale**3 * volume((vertices, faces)), rel=1e-9)
    low, high = placed.min(0), placed.max(0)
    assert np.allclose((low + high)[:2], 0, atol=1e-9 * np.abs(placed).max())
    assert low[2] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(("up", "axis"), sorted(UP.items()))
def test_the_up_axis_points_up_by_a_turn_that_is_no_mirror(up, axis):
    turn = turning(PatternSettings(file="x", up=up))
    assert (turn @ axis).tolist() == [0, 0, 1]
    assert np.linalg.det(turn) == pytest.approx(1)


def test_turns_run_about_the_fixed_axes_in_the_order_x_y_z():
    turn = turning(PatternSettings(file="x", rotate_deg=(31, 17, -55)))
    peer = trimesh.transformations.euler_matrix(*np.radians([31, 17, -55]), axes="sxyz")[:3, :3]
    assert np.allclose(turn, peer, atol=1e-12)


def test_quarter_turns_are_exact():
    turn = turning(PatternSettings(file="x", rotate_deg=(90, -180, 270)))
    assert set(np.abs(turn).ravel().tolist()) == {0.0, 1.0}


def test_the_mirror_makes_the_other_hand_with_its_faces_outward(tmp_path):
    path = written(tmp_path, crooked())
    right, left = taken(path), taken(path, mirror=True)
    assert left.skin.volume_mm3 == pytest.approx(right.skin.volume_mm3, rel=1e-7)
    assert np.allclose(np.sort(left.vertices_mm[:, 0]), np.sort(-right.vertices_mm[:, 0]), atol=1e-6)
    assert_closed_solid(left.skin.vertices_mm, left.skin.faces)
    assert np.linalg.det(left.file_to_mold[:3, :3]) < 0


@pytest.mark.parametrize(("units", "mm"), [("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4), ("ft", 304.8)])
def test_units(tmp_path, units, mm):
    size = 100 / mm
    pattern = taken(written(tmp_path, box((size, size / 2, size / 4))), units=units)
    assert np.ptp(pattern.bounds_mm, axis=0) == pytest.approx([100, 50, 25], rel=1e-6)
    assert pattern.skin.volume_mm3 == pytest.approx(100 * 50 * 25, rel=1e-5)


def test_the_matrix_maps_the_files_own_vertices_onto_the_pattern(tmp_path):
    path = written(tmp_path, crooked())
    pattern = taken(path, longest_side_mm=321, up="-y", rotate_deg=(10, 20, 30), mirror=True)
    peer = trimesh.load(path, force="mesh", process=False)
    placed = peer.vertices @ pattern.file_to_mold[:3, :3].T + pattern.file_to_mold[:3, 3]
    assert np.allclose(np.sort(placed, axis=0), np.sort(pattern.vertices_mm, axis=0), rtol=0, atol=1e-6)
    scale = np.cbrt(-np.linalg.det(pattern.file_to_mold[:3, :3]))
    assert np.ptp(peer.vertices, axis=0).max() * scale == pytest.approx(321)


def test_a_pattern_that_is_too_small_names_the_unit_it_may_be_in(tmp_path):
    path = written(tmp_path, box((3.2, 2, 1)))
    with pytest.raises(
        PatternError, match=r'is 3.2 mm, under 10 mm. Did you mean pattern.units = "cm" or "in" or "ft"\?'
    ):
        taken(path)
    with pytest.raises(PatternError, match=r'side is 320,000 mm, over 5000 mm. Did you mean pattern.units = "mm"\?'):
        taken(written(tmp_path, box((320, 2, 1)), "long.ply"), units="m")


def test_no_size_and_two_sizes(tmp_path):
    path = tmp_path / "dot.obj"
    path.write_text("v 1 1 1\nv 1 1 1\nv 1 1 1\nf 1 2 3\n")
    with pytest.raises(PatternError, match="collapsed"):
        taken(path)
    with pytest.raises(PatternError, match="Keep one"):
        taken(written(tmp_path, ball(30, 2)), scale=2.0, longest_side_mm=100)
    with pytest.raises(PatternError, match="longest_side_mm between 10 and 5000"):
        taken(written(tmp_path, ball(30, 2)), longest_side_mm=7000)


def test_file_and_demo_exclude_each_other(tmp_path):
    with pytest.raises(PatternError, match="both"):
        taken(written(tmp_path, ball(30, 2)), demo="horn-bell")
