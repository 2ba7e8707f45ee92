"""Mounts: stem and board against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapely.geometry import Point
from shapes import assert_closed_solid, ball, box, taken, together, torus, written

from shellgen.errors import PatternError
from shellgen.pattern.bodies import solid_from
from shellgen.pattern.clip import clipped
from shellgen.pattern.footprint import ring_figure
from shellgen.pattern.level_cut import lidded, rings_at


def test_a_ball_on_its_stem(tmp_path):
    path = written(tmp_path, ball(50, 5))
    pattern = taken(path, "stem", {"stem_diameter_mm": 24, "stem_length_mm": 30})
    # Added: a cylinder r to the ball's lowest level, and from there up to the sphere:
    # pi r^2 L + pi r^2 R - 2 pi / 3 (R^3 - (R^2 - r^2)^1.5).
    r, big, length = 12, 50, 30
    neck = np.pi * r**2 * (length + big) - 2 * np.pi / 3 * (big**3 - (big**2 - r**2) ** 1.5)
    assert pattern.skin.volume_mm3 == pytest.approx(4 / 3 * np.pi * big**3 + neck, rel=4e-3)
    low, high = pattern.bounds_mm
    assert low[2] == 0
    assert high[2] == pytest.approx(130, abs=0.1)
    assert pattern.footprint.area == pytest.approx(np.pi * r**2, rel=3e-3)
    assert pattern.footprint.centroid.distance(Point(0, 0)) < 1e-6
    assert_closed_solid(pattern.skin.vertices_mm, pattern.skin.faces)


def test_default_stem(tmp_path):
    pattern = taken(written(tmp_path, ball(100, 4)), "stem")
    # 0.18 x 200 mm across; a tenth of 200 mm, not under 25.
    assert np.sqrt(pattern.footprint.area / np.pi) * 2 == pytest.approx(36, rel=5e-3)
    assert pattern.bounds_mm[1, 2] == pytest.approx(225, abs=0.2)


def test_a_stem_finds_the_foot_of_a_narrow_pattern(tmp_path):
    mushroom = together(box((20, 20, 60), (40, -10, 0)), box((120, 120, 40), (-60, -60, 58)))
    pattern = taken(written(tmp_path, mushroom), "stem")
    centre = pattern.footprint.centroid
    assert Point(50, 0).distance(centre) < 12
    assert np.sqrt(pattern.footprint.area / np.pi) * 2 <= 20


def test_a_ring_standing_up_is_held(tmp_path):
    pattern = taken(written(tmp_path, torus(60, 12)), "stem", rotate_deg=(90, 0, 0))
    alone = taken(written(tmp_path, torus(60, 12)), rotate_deg=(90, 0, 0))
    assert pattern.skin.volume_mm3 > alone.skin.volume_mm3
    assert_closed_solid(pattern.skin.vertices_mm, pattern.skin.faces)


def test_a_stem_beside_the_pattern_is_refused(tmp_path):
    with pytest.raises(PatternError, match=r"meets only 0 % of its section in the pattern. Change mount.stem_at_mm"):
        taken(written(tmp_path, ball(50, 3)), "stem", {"stem_at_mm": (80.0, 0.0)})


def test_a_ball_cut_flat_on_a_board(tmp_path):
    pattern = taken(written(tmp_path, ball(50, 5)), "board", {"cut_mm": 20})
    # Spherical segment cut off: pi h^2 (3 R - h) / 3; its circle has radius^2 = 2 R h - h^2.
    assert pattern.skin.volume_mm3 == pytest.approx(4 / 3 * np.pi * 50**3 - np.pi * 400 * 130 / 3, rel=3e-3)
    assert pattern.footprint.area == pytest.approx(np.pi * (2 * 50 * 20 - 400), rel=1e-2)
    assert pattern.vertices_mm[:, 2].min() == 0
    assert pattern.skin.vertices_mm[:, 2].min() == 0
    assert pattern.bounds_mm[1, 2] == pytest.approx(80, abs=0.1)
    assert_closed_solid(pattern.skin.vertices_mm, pattern.skin.faces)


def test_nothing_on_the_board_names_a_height_that_works(tmp_path):
    path = written(tmp_path, ball(50, 5))
    with pytest.raises(PatternError, match=r"nothing stands on the board .* give mount.cut_mm \(now 0, e.g. ") as told:
        taken(path, "board")
    height = float(str(told.value).split("e.g. ")[1].split(")")[0])
    assert taken(path, "board", {"cut_mm": height}).footprint.area > 1000


def test_a_cut_above_the_top_is_refused(tmp_path):
    with pytest.raises(PatternError, match="cut_mm = 120 is above its top"):
        taken(written(tmp_path, ball(50, 3)), "board", {"cut_mm": 120})


def test_a_base_that_is_level_only_to_rounding_stands_flat(tmp_path):
    vertices, faces = box((80, 60, 40))
    tilted = vertices @ trimesh.transformations.rotation_matrix(np.radians(33.3), [1, 0, 0])[:3, :3].T
    pattern = taken(written(tmp_path, (tilted, faces)), "board", rotate_deg=(-33.3, 0, 0))
    assert pattern.footprint.area == pytest.approx(80 * 60, rel=1e-4)
    assert np.count_nonzero(pattern.vertices_mm[:, 2] < 1e-5) == 4  # the file itself holds float32


def test_the_hollow_of_a_cup_turned_down_gets_no_rubber(tmp_path):
    cup = trimesh.boolean.difference(
        [
            trimesh.creation.box(bounds=[[0, 0, 0], [100, 80, 60]]),
            trimesh.creation.box(bounds=[[10, 10, -5], [90, 70, 50]]),
        ]
    )
    pattern = taken(written(tmp_path, (cup.vertices, cup.faces)), "board")
    assert pattern.skin.volume_mm3 == pytest.approx(100 * 80 * 60, rel=1e-6)
    assert pattern.footprint.area == pytest.approx(8000, rel=1e-4)
    assert any("hollow of 240.0 cm3" in note for note in pattern.notes)
    free = taken(written(tmp_path, (cup.vertices, cup.faces)))
    assert free.skin.volume_mm3 == pytest.approx(100 * 80 * 60 - 80 * 60 * 50, rel=1e-6)


def test_a_cup_with_a_window_keeps_its_inside(tmp_path):
    cup = trimesh.boolean.difference(
        [
            trimesh.creation.box(bounds=[[0, 0, 0], [100, 80, 60]]),
            trimesh.creation.box(bounds=[[10, 10, -5], [90, 70, 50]]),
            trimesh.creation.box(bounds=[[40, -5, 20], [60, 15, 40]]),
        ]
    )
    pattern = taken(written(tmp_path, (cup.vertices, cup.faces)), "board")
    assert pattern.skin.volume_mm3 == pytest.approx(cup.volume, rel=1e-6)
    assert pattern.footprint.area == pytest.approx(8000 - 80 * 60, rel=1e-4)


def test_an_open_bell_on_its_board_is_capped_by_it(tmp_path):
    cone = trimesh.creation.cone(radius=60, height=50, sections=120)
    wall = cone.faces[np.abs(cone.face_normals[:, 2]) < 0.99]
    pattern = taken(written(tmp_path, (cone.vertices, wall)), "board")
    assert pattern.skin.method == "holes capped"
    assert pattern.skin.volume_mm3 == pytest.approx(cone.volume, rel=1e-6)
    assert pattern.footprint.area == pytest.approx(np.pi * 60**2, rel=2e-3)


@pytest.mark.parametrize("level", [0.0, 7.3, -12.1])
def test_clipping_keeps_area_and_normals_above_the_board(level):
    vertices, faces = torus(60, 20)
    vertices = vertices @ trimesh.transformations.euler_matrix(0.3, 0.2, 0)[:3, :3].T + [0, 0, level]
    peer = trimesh.Trimesh(vertices, faces, process=False).slice_plane([0, 0, 0], [0, 0, 1])
    points, kept = clipped(vertices, faces.astype(np.int32))
    own = trimesh.Trimesh(points, kept, process=False)
    assert points[:, 2].min() == 0
    assert own.area == pytest.approx(peer.area, rel=1e-9)
    # The vector area of the part above equals minus that of its boundary's plane figure: same for both.
    vector = (own.face_normals * own.area_faces[:, None]).sum(axis=0)
    assert np.allclose(vector, (peer.face_normals * peer.area_faces[:, None]).sum(axis=0), atol=1e-6 * own.area)


def test_without_a_mount_nothing_is_added(tmp_path):
    pattern = taken(written(tmp_path, ball(50, 3)))
    assert pattern.footprint.is_empty
    assert len(pattern.skin.faces) == len(pattern.faces) == len(ball(50, 3)[1])


@pytest.mark.parametrize("level", [0.0, 3.1, -17.9])
def test_rings_at_a_level_enclose_the_section_trimesh_finds(level):
    mesh = trimesh.Trimesh(*torus(60, 20), process=False)
    mesh.apply_transform(trimesh.transformations.euler_matrix(0.4, 0.2, 0.1))
    own = ring_figure(rings_at(mesh.vertices, mesh.faces, level))
    peer = mesh.section(plane_origin=[0, 0, level], plane_normal=[0, 0, 1]).to_2D()[0]
    assert own.area == pytest.approx(peer.area, rel=1e-6)


def test_a_lidded_cut_is_the_solid_kernels_cut():
    mesh = trimesh.Trimesh(*torus(60, 20), process=False)
    mesh.apply_transform(trimesh.transformations.euler_matrix(0.4, 0.2, 0.1))
    vertices, faces = np.array(mesh.vertices), np.array(mesh.faces, np.int32)
    points, closed, volume_mm3 = lidded(*clipped(vertices, faces))
    solid = solid_from(vertices, faces).trim_by_plane((0, 0, 1), 0)
    assert volume_mm3 == pytest.approx(solid.volume(), rel=1e-9)
    assert_closed_solid(points, closed)


def test_a_cut_that_leaves_two_bodies_is_not_plain():
    vertices, faces = torus(60, 20)
    upright = vertices @ trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0])[:3, :3].T
    for height in (-50, 0):  # one lid, then two
        assert lidded(*clipped(upright + np.array([0, 0, height]), faces.astype(np.int32))) is not None
    one, other = np.array([0, 0, 5]), np.array([300, 0, 5])
    two = together((vertices + one, faces), (vertices + other, faces))
    assert lidded(*clipped(two[0], two[1].astype(np.int32))) is None
