"""Seams found on outlines whose gaps are known by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shellgen.errors import ShellgenError
from shellgen.parting.surface import ValleyParting
from shellgen.shop.joint.job import longest_mm, pressed_area_mm2
from shellgen.shop.seams import seam_paths

CUT = 20 * (2 - math.pi / 2)  # what a square corner loses when it is rounded to 20, twice the heel of 10
BOX = ((0.0, 0.0), (200.0, 0.0), (200.0, 120.0), (0.0, 120.0))


def test_closed_seam_of_a_rectangle(plan):
    # the line 10 inside has corners (10, 10) to (190, 110); bolts in the corners and midway on the long sides
    spots = [(10, 10), (100, 10), (190, 10), (190, 110), (100, 110), (10, 110)]
    (path,) = seam_paths(plan(BOX, spots[::-1]))
    assert path.line.ends_mm is None
    assert sorted(path.line.spans_mm) == pytest.approx([90 - CUT / 2] * 4 + [100 - CUT] * 2, abs=0.02)
    assert path.heel_mm == pytest.approx(10)
    assert path.line.length_mm == pytest.approx(2 * (180 + 100) - 4 * CUT, abs=0.05)
    ends = [(tuple(g[0]), tuple(g[-1])) for g in path.gaps_mm]
    assert all(np.allclose(end, ends[(i + 1) % 6][0]) for i, (_, end) in enumerate(ends))


def test_seam_on_a_board_runs_from_foot_to_foot(plan):
    # up the left side, across the top, down the right side; 20 mm from the lowest bolts to the board
    spots = [(10, 20), (10, 110), (100, 110), (190, 110), (190, 20)]
    (path,) = seam_paths(plan(BOX, [spots[i] for i in (2, 0, 4, 1, 3)], on_board=True))
    assert path.line.ends_mm == pytest.approx((20, 20))
    assert path.line.spans_mm == pytest.approx((90 - CUT / 2,) * 4, abs=0.02)
    assert path.bolts_mm[[0, -1], 1] == pytest.approx([20, 20])
    assert len(path.gaps_mm) == 6
    lowest = [g[:, 1].min() for g in (path.gaps_mm[0], path.gaps_mm[-1])]
    assert lowest == pytest.approx([0, 0])
    assert path.gaps_mm[0][-1] == pytest.approx(path.bolts_mm[0], abs=1e-6)
    assert path.gaps_mm[-1][0] == pytest.approx(path.bolts_mm[-1], abs=1e-6)


def test_uneven_gaps_are_kept_as_they_are(plan):
    spots = [(10, 15), (10, 40), (10, 80), (60, 110), (190, 60)]
    (path,) = seam_paths(plan(BOX, spots, on_board=True))
    # 25, 40, round the corner 30 + 50, then 130 along the top and 50 down
    lengths = [25, 40, 80 - CUT, 180 - CUT]
    found = path.line.spans_mm if path.line.ends_mm[0] < 20 else path.line.spans_mm[::-1]
    assert found == pytest.approx(lengths, abs=0.02)
    assert sorted(path.line.ends_mm) == pytest.approx([15, 60])


def test_a_ring_has_a_seam_inside_and_one_outside(plan):
    hole = ((60.0, 40.0), (60.0, 80.0), (140.0, 80.0), (140.0, 40.0))
    outside = [(10, 10), (190, 10), (190, 110), (10, 110)]
    inside = [(100, 30), (100, 90)]
    outer, inner = seam_paths(plan(BOX, outside + inside, holes=(hole,)))
    assert outer.line.length_mm == pytest.approx(560 - 4 * CUT, abs=0.05)
    # 10 outside the hole: sides 80 and 40, corners rounded to a circle of 10
    assert inner.line.length_mm == pytest.approx(2 * (80 + 40) + 2 * math.pi * 10, rel=2e-3)
    assert inner.line.spans_mm[0] == pytest.approx(inner.line.spans_mm[1])


def test_leaning_faces_lengthen_the_gaps(plan):
    # three pieces: P = cot(60 deg) |x|; a gap along x is longer by sqrt(1 + cot^2), one along y is not
    spots = [(10, 20), (10, 60), (60, 110), (100, 110), (150, 110)]
    slope = 1 / math.tan(math.radians(60))
    (path,) = seam_paths(plan(BOX, spots, on_board=True, parting=ValleyParting(slope)))
    found = path.line.spans_mm if np.allclose(path.bolts_mm[0], (10, 20)) else path.line.spans_mm[::-1]
    assert found[0] == pytest.approx(40)
    assert found[2:] == pytest.approx([40 * math.hypot(1, slope), 50 * math.hypot(1, slope)])


def test_a_mold_without_bolts_has_no_seam(plan):
    with pytest.raises(ShellgenError, match="no closing bolts"):
        seam_paths(plan(BOX, []))


def test_area_and_length_of_the_load(plan):
    design = plan(BOX, [(10, 10)])
    assert pressed_area_mm2((p.inside, p.parting) for p in design.pieces) == 100 * 100
    # the box's long diagonal: sqrt(300^2 + 60^2 + 40^2)
    assert longest_mm(design.pattern.vertices_mm) == pytest.approx(math.sqrt(300**2 + 60**2 + 40**2))
    ball = np.random.default_rng(3).normal(size=(4000, 3))
    ball *= 50 / np.linalg.norm(ball, axis=1)[:, None]
    assert longest_mm(ball) == pytest.approx(100, rel=0.01)


def test_a_foot_on_the_edge_does_not_draw_the_seam_out(plan):
    foot = (
        (0.0, 0.0),
        (200.0, 0.0),
        (200.0, 120.0),
        (120.0, 120.0),
        (120.0, 128.0),
        (80.0, 128.0),
        (80.0, 120.0),
        (0.0, 120.0),
    )
    spots = [(10, 20), (10, 70), (60, 110), (140, 110), (190, 70), (190, 20)]
    bare, footed = (seam_paths(plan(outline, spots, on_board=True))[0] for outline in (BOX, foot))
    # the foot's own edge would add 2 * 8; a disc of 20 still sinks 20 - sqrt(20^2 - 10^2) = 2.7 into it
    assert footed.line.spans_mm == pytest.approx(bare.line.spans_mm, abs=4.0)
