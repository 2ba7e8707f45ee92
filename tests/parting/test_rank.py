"""Ranking: it finds the plane a maker would, says why in true words, and keeps out of places to be kept clear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import parting_shapes as shapes
import pytest
import trimesh

from shellgen.errors import DesignError
from shellgen.parting.directions import angle_deg, hemisphere, level_ring
from shellgen.parting.keep_clear import crossed, side_box, surface_in_box
from shellgen.parting.plane_cost import bed_tiles, cost_plane
from shellgen.parting.rank import prepare, rank_planes
from shellgen.parting.reasons import reasons, role_of, stepping_share

Z = np.array([0.0, 0.0, 1.0])


def ranked(mesh: trimesh.Trimesh, mount: str = "none", volume: float | None = None, **more):
    vertices, faces = shapes.as_arrays(mesh)
    settings = {"thickness_mm": 6.0, "draft_deg": 3.0, "count": 80} | more
    return rank_planes(vertices, faces, mount=mount, volume_mm3=volume, **settings)


@pytest.fixture(scope="module")
def elbow_ranking():
    turn = shapes.turned(shapes.elbow(), 40, (1, 2, 0.5))
    return ranked(turn, volume=float(120 * 400 + 100 * 400)), turn


def test_elbow_prefers_its_own_plane(elbow_ranking):
    ranking = ranked(elbow_ranking[1], draft_deg=0.0)  # with draft, a lean of the draft's size is cheaper
    own = trimesh.transformations.rotation_matrix(np.radians(40), (1, 2, 0.5))[:3, 2]
    assert angle_deg(np.array(ranking.planes[0].normal), own) < 2.5
    assert ranking.planes[0].offset_mm == pytest.approx(0, abs=1.5)
    assert "least rubber" in ranking.planes[0].role


def test_five_planes_that_are_really_different(elbow_ranking):
    planes = elbow_ranking[0].planes
    assert len(planes) == 5
    apart = [angle_deg(np.array(p.normal), np.array(q.normal)) for k, p in enumerate(planes) for q in planes[:k]]
    assert min(apart) > 15
    assert [p.fill_cm3 for p in planes] == sorted(p.fill_cm3 for p in planes)


def test_best_is_not_dearer_than_the_middle_and_stepping_never_dearer_than_the_plane(elbow_ranking):
    ranking, _ = elbow_ranking
    assert ranking.planes[0].fill_cm3 <= ranking.middle.fill_cm3
    for plane in (*ranking.planes, ranking.middle):
        assert 0 <= plane.stepped_fill_cm3 <= plane.fill_cm3
        assert plane.fill_g == pytest.approx(1.1 * plane.fill_cm3)
        assert 0 <= stepping_share(plane) < 1


def test_words_carry_the_figures(elbow_ranking):
    ranking, _ = elbow_ranking
    for plane in ranking.planes:
        assert f"{plane.fill_cm3:.1f} cm3" in plane.why[0]
    by_length = min(ranking.planes, key=lambda p: p.flange_length_mm)
    assert "shortest flange" in by_length.role and f"{by_length.flange_length_mm:.0f} mm" in " ".join(by_length.why)
    others = [p for p in ranking.planes if p is not by_length]
    assert all("shortest" not in " ".join(p.why) for p in others)


def test_no_plane_is_best_at_what_the_others_do_as_well(elbow_ranking):
    """Lines of 1014 and 1018 mm are alike to a maker; 900 mm is shorter. The same words for fills that print alike."""
    one, other = (replace(p, role="", why=()) for p in elbow_ranking[0].planes[:2])
    for length, best in ((1014.0, False), (900.0, True)):
        pair = [replace(one, flange_length_mm=length), replace(other, flange_length_mm=1018.0)]
        assert ("shortest flange" in role_of(pair[0], pair)) == best
        assert "shortest flange" not in role_of(pair[1], pair)
    twin = replace(one, fill_cm3=one.fill_cm3 + 0.01, stepped_fill_cm3=one.stepped_fill_cm3 + 0.01)
    says = " ".join(reasons(twin, [one, twin], one, basin=True, tried=80, apart_deg=22.0))
    assert "as much as the first" in says and "0.0 cm3 more" not in says


def test_ranking_is_repeatable(elbow_ranking):
    ranking, turn = elbow_ranking
    again = ranked(turn, volume=float(120 * 400 + 100 * 400))
    assert again.planes == ranking.planes and again.middle == ranking.middle


def test_scan_with_holes_and_flips_costs_the_same_as_the_whole():
    vertices, faces = shapes.as_arrays(shapes.torus(40, 12))
    rng = np.random.default_rng(2)
    broken = faces[rng.random(len(faces)) > 0.03]
    flip = rng.random(len(broken)) < 0.1
    broken[flip] = broken[flip][:, ::-1]
    sound, holed = (
        prepare(vertices, f, thickness_mm=6, mount="none", volume_mm3=None, draft_deg=3) for f in (faces, broken)
    )
    for normal in (np.array([1.0, 0, 0]), np.array([1.0, 1, 1])):
        whole = cost_plane(sound, normal, 3.0).fill_cm3
        assert cost_plane(holed, normal, 3.0).fill_cm3 == pytest.approx(whole, rel=0.02)


def test_on_a_board_planes_stand_upright_and_the_thin_way_wins():
    slab = trimesh.creation.box((90, 30, 70), trimesh.transformations.translation_matrix((0, 0, 35)))
    ranking = ranked(shapes.turned(slab, 30, (0, 0, 1)), mount="board", volume=90 * 30 * 70)
    assert all(plane.normal[2] == 0 for plane in ranking.planes)
    across = np.array([-np.sin(np.radians(30)), np.cos(np.radians(30)), 0])
    least_draw = min(ranking.planes, key=lambda p: p.draw_mm)
    assert angle_deg(np.array(least_draw.normal), across) < 4


def test_seam_keeps_out_of_a_box():
    ball = shapes.sphere(30)
    box = ((-4.0, -40.0, -4.0), (4.0, 40.0, 4.0))
    ranking = ranked(ball, keep_clear=[box], count=60)
    vertices, faces = shapes.as_arrays(ball)
    patch = surface_in_box(vertices, faces, box)
    for plane in ranking.planes:
        assert plane.crosses == ()
        heights = patch @ np.array(plane.normal)
        assert not heights.min() < plane.offset_mm < heights.max()


def test_crossing_is_said():
    vertices, faces = shapes.as_arrays(shapes.sphere(30))
    patch = surface_in_box(vertices, faces, ((20.0, -40.0, -10.0), (40.0, 40.0, 10.0)))
    assert crossed([patch], Z, 0.0) == (1,)
    assert crossed([patch], Z, 15.0) == ()
    low, high = side_box(np.array([[0.0, 0, 0], [10, 20, 30]]), "-y")
    assert low == (0, 0, 0) and high == (10, 4, 30)


def test_plane_that_misses_is_refused_with_one_that_works():
    work = prepare(*shapes.as_arrays(shapes.sphere(30)), thickness_mm=6, mount="none", volume_mm3=None, draft_deg=3)
    with pytest.raises(DesignError, match=r"offset_mm = 31 misses the pattern, .* -30\.0 and 30\.0 .*: use 24\.0"):
        cost_plane(work, Z, 31.0)
    with pytest.raises(DesignError, match=r"use -24\.0"):
        cost_plane(work, -Z, -31.0)
    with pytest.raises(DesignError, match="normal is zero"):
        cost_plane(work, 0 * Z, 0.0)


def test_leaning_plane_on_a_board_is_refused():
    work = prepare(*shapes.as_arrays(shapes.sphere(30)), thickness_mm=6, mount="stem", volume_mm3=None, draft_deg=3)
    with pytest.raises(DesignError, match=r"stand upright: use z = 0; the nearest is \[0\.600, 0\.000, 0\]"):
        cost_plane(work, np.array([0.6, 0, 0.8]), 0.0)


def test_same_plane_from_both_sides():
    work = prepare(*shapes.as_arrays(shapes.elbow()), thickness_mm=6, mount="none", volume_mm3=None, draft_deg=3)
    normal = np.array([1.0, 2.0, 3.0])
    assert cost_plane(work, normal, 12.0) == cost_plane(work, -normal, -12.0)


def test_bed_tiles_the_better_way_round():
    assert bed_tiles((390, 190), 50, (200, 200, 200)) == 2
    assert bed_tiles((390, 190), 250, (200, 200, 200)) == 4
    assert bed_tiles((290, 240), 50, (250, 300, 200)) == 1
    assert bed_tiles((290, 240), 50, None) is None


def test_hemisphere_is_even_and_a_ring_is_level():
    directions = hemisphere(200, np.eye(3))
    cosines = np.abs(directions.normals[3:] @ directions.normals[3:].T) - 2 * np.eye(200)
    nearest = np.degrees(np.arccos(np.clip(cosines.max(1), -1, 1)))
    assert nearest.min() > 0.5 * directions.spacing_deg and nearest.max() < 1.2 * directions.spacing_deg
    assert (level_ring(30).normals[:, 2] == 0).all()
