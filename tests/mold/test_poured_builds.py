"""A poured jacket: pour at the top, bores that let all air out, counted, drawn along the pull, clear of bolts."""

from itertools import combinations
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from shellgen.checks.holes import genus_of
from shellgen.export.manifest import PartFiles, build_manifest
from shellgen.job.defaults import fill_in
from shellgen.job.model import Settings
from shellgen.mold.design import design
from shellgen.mold.feet import without_bars_over
from shellgen.mold.finish import finish
from shellgen.mold.mold import VentHole
from shellgen.pattern.intake import take_in
from shellgen.sheet.cast import legend_of
from shellgen.sheet.pour_marks import mark_holes, mouth_mm
from shellgen.sheet.scene import fitted, look_along
from shellgen.sheet.strokes import Strokes
from shellgen.solid.recipe import Frustum, Role, inverse, transform

SETTINGS = {"raster": {"pitch_mm": 1.0}, "shell": {"labels": False}, "outputs": {"step": False, "pictures": False}}


def humps() -> trimesh.Trimesh:
    """Two balls of radius 25 on a slab 120 x 50 x 10: two tops of one height, 70 mm apart."""
    slab = trimesh.creation.box((120, 50, 10))
    balls = []
    for x in (-35.0, 35.0):
        ball = trimesh.creation.icosphere(subdivisions=4, radius=25.0)
        ball.apply_translation((x, 0, 25 if x < 0 else 20))
        balls.append(ball)
    return trimesh.boolean.union([slab, *balls], engine="manifold")


def poured(folder: Path, **tables):
    humps().export(folder / "humps.stl")
    settings = Settings.model_validate(
        {**SETTINGS, "pattern": {"file": "humps.stl"}, "jacket": {"method": "pour", "keys": False}, **tables}
    )
    pattern = take_in(settings, folder)
    return design(fill_in(settings, pattern.bounds_mm), pattern)


@pytest.fixture(scope="module")
def lying(tmp_path_factory):
    """Parted level: the upper piece leaves upwards, its bores stand upright."""
    return poured(
        tmp_path_factory.mktemp("lying"),
        parting={"plane": {"normal": [0, 0, 1]}},
        port={"diameter_mm": 20, "lid": False},
    )


@pytest.fixture(scope="module")
def standing(tmp_path_factory):
    """On a board, parted upright: the bores run level."""
    return poured(
        tmp_path_factory.mktemp("standing"),
        mount={"kind": "board", "cut_mm": 1.0},
        parting={"plane": {"angle_deg": 90}},
    )


def bores(plan):
    """(piece, shape) of every hole of the pour, the port's own left out."""
    found = []
    for piece in plan.pieces:
        for feature in piece.features:
            if feature.role is Role.PORT and not feature.add and isinstance(feature.shape, Frustum):
                found.append((piece, feature.shape))
    return found


def test_each_hump_has_a_hole_near_its_top(lying):
    tops = np.array([h.at_mm for h in lying.pour.holes])
    assert lying.pour.holes[0].use.startswith("pour")
    low, high = lying.pattern.bounds_mm
    middle = 0.5 * (low + high)
    for x in (-35.0, 35.0):  # the balls' axes, by construction
        assert np.hypot(tops[:, 0] - middle[0] - x, tops[:, 1] - middle[1]).min() < 12.0
    assert lying.pour.holes[0].at_mm[2] == pytest.approx(max(tops[:, 2]), abs=1.0)


def test_bores_let_the_air_out(lying, standing):
    for plan in (lying, standing):
        gap_mm3 = plan.pour.holes[0].air_mm3  # all that the gap holds
        assert plan.pour.trapped_mm3 < 0.01 * gap_mm3
        assert all(hole.air_mm3 > 0 for hole in plan.pour.holes)


def test_bores_run_along_the_pull_and_keep_clear_of_bolts(lying, standing):
    for plan in (lying, standing):
        assert bores(plan)
        for piece, shape in bores(plan):
            assert shape.axis == (0.0, 0.0, 1.0)
            for bolt in plan.bolts:
                if piece.name in bolt.pair and bolt.setup == "closing":
                    at = transform(np.array(bolt.seats_mm[:1]), inverse(piece.pull_to_mold))[0]
                    assert np.hypot(at[0] - shape.base[0], at[1] - shape.base[1]) > shape.r0_mm + bolt.hole_mm / 2 + 3


def test_holes_are_counted_and_the_rubber_has_none(standing):
    mold = finish(standing)
    for part in mold.parts:
        if part.kind == "shell":
            assert genus_of(part) == part.genus
    assert mold.quantities["vents"] == len(standing.pour.holes) - 1
    assert mold.quantities["trapped_air_cm3"] == pytest.approx(standing.pour.trapped_mm3 / 1e3)


def solid(vertices, faces):
    return m3.Manifold(m3.Mesh64(np.array(vertices, float), np.array(faces, np.uint64)))


def test_spacers_hold_the_gap_and_touch_nothing(lying):
    """Three or more to a piece, as thick as the gap less 0.1 mm at either end; against the slab a plain cylinder."""
    mold = finish(lying)
    spacers = {s.name: s for s in lying.pour.spacers}
    parts = {p.name: p for p in mold.parts}
    skin = solid(lying.pattern.skin.vertices_mm, lying.pattern.skin.faces)
    assert {p.name for p in mold.parts if p.kind == "spacer"} == set(spacers)
    assert mold.quantities["spacers"] == len(spacers)
    rubber = lying.settings.jacket.thickness_mm
    for piece in ("A", "B"):
        own = [s for s in spacers.values() if s.piece == piece]
        assert len(own) >= 3
        places = np.array([s.at_mm for s in own])
        assert min(np.linalg.norm(a - b) for a, b in combinations(places, 2)) > 2 * own[0].radius_mm
    for name, spacer in spacers.items():
        pad = solid(parts[name].vertices_mm, parts[name].faces)
        assert (pad ^ skin).volume() == 0.0 and (
            pad ^ solid(parts["jacket"].vertices_mm, parts["jacket"].faces)
        ).volume() > 0
        for shell in ("A", "B"):
            wall = solid(parts[shell].vertices_mm, parts[shell].faces)
            assert (pad ^ wall).volume() == 0.0
            pull = 0.11 * np.array(parts[spacer.piece].pull)
            moved = pad.translate(tuple(pull))  # a little more than the play, and it meets its shell
            assert ((moved ^ wall).volume() > 0.0) == (shell == spacer.piece)
        assert rubber <= spacer.thickness_mm < 1.6 * rubber
    flat = [s for s in spacers.values() if s.piece == "B"]  # the slab's flat underside
    for spacer in flat:
        height = spacer.thickness_mm - 0.2
        assert parts[spacer.name].volume_mm3 == pytest.approx(np.pi * spacer.radius_mm**2 * height, rel=0.03)


def test_spacers_are_said_and_left_out_where_a_board_holds_the_pattern(lying, standing):
    said = " ".join(lying.notes)
    assert all(s.name in said for s in lying.pour.spacers)
    assert standing.pour.spacers == () and "no spacers are needed" in " ".join(standing.notes)


def test_manifest_lists_holes_and_spacers(lying):
    mold = finish(lying)
    files = {p.name: PartFiles({"stl": f"{p.name}.stl"}, p.volume_mm3, ((0, 0, 0), (1, 1, 1))) for p in mold.parts}
    told = build_manifest(mold, (), files)
    assert [h["air_cm3"] for h in told["pour"]["holes"][1:]] == [
        told["quantities"][f"air_without_vent_{k}_cm3"] for k in range(1, len(lying.pour.holes))
    ]
    assert [s["name"] for s in told["pour"]["spacers"]] == [p["name"] for p in told["parts"] if p["kind"] == "spacer"]


def test_brushed_rubber_needs_no_vents(tmp_path):
    plan = poured(tmp_path, jacket={"method": "brush"}, parting={"plane": {"normal": [0, 0, 1]}})
    assert plan.pour is None
    assert len(bores(plan)) == 1  # the port


def test_pictures_mark_pour_vents_and_spacers(lying):
    mold = finish(lying)
    vents = len(lying.pour.holes) - 1
    top = max(part.vertices_mm[:, 2].max() for part in mold.parts)
    mouths = np.array([mouth_mm(mold, hole) for hole in lying.pour.holes])
    assert (mouths[:, 2] > np.array([hole.at_mm[2] for hole in lying.pour.holes]) - 1e-9).all()
    assert (mouths[:, 2] < top + 2.0).all()
    part = next(p for p in mold.parts if p.name == lying.pour.holes[0].piece)
    camera = fitted(look_along((0.0, 0.0, 1.0)), part.vertices_mm, (400, 300), (10, 10, 390, 290))
    said = mark_holes(mold, part, camera, Strokes())
    assert said[0][0].startswith("pour, ") and said[0][0].endswith(f"{vents} vent" + ("s" if vents > 1 else ""))
    words = [words for words, _ in legend_of(mold, mold.parts)]
    assert sum("spacer" in w for w in words) == 1 and f"{len(lying.pour.spacers)} spacers" in words


def bars_over(piece, at_mm):
    """Foot bars of a piece that a line straight up from a place in the mold frame meets."""
    x, y, z = transform(np.array([at_mm]), inverse(piece.pull_to_mold))[0]
    found = []
    for shape in (f.shape for f in piece.features if f.role is Role.FOOT):
        ring = np.asarray(shape.outer)
        under = ring[:, 0].min() < x < ring[:, 0].max() and y < ring[:, 1].max()
        found += [shape] if under and shape.origin[2] < z < shape.origin[2] + shape.length_mm else []
    return found


def test_no_foot_bar_stands_over_a_hole_of_the_pour(standing):
    assert standing.pour.holes
    assert not [bar for h in standing.pour.holes for p in standing.pieces for bar in bars_over(p, h.at_mm)]


def test_a_foot_bar_over_a_hole_is_left_out_and_told(tmp_path):
    plan = poured(tmp_path, mount={"kind": "board", "cut_mm": 1.0}, parting={"plane": {"angle_deg": 90}}, jacket={})
    piece = plan.pieces[0]
    bar = next(f.shape for f in piece.features if f.role is Role.FOOT)
    middle = [np.mean([x for x, _ in bar.outer]), np.min([y for _, y in bar.outer]) - 20.0, bar.origin[2] + 8.0]
    below = tuple(transform(np.array([middle]), piece.pull_to_mold)[0].tolist())
    beside = (below[0] + 500.0, *below[1:])
    kept, said = without_bars_over(plan.pieces, (VentHole("A", "pour", beside, 16.0, 0.0),))
    assert kept == plan.pieces
    assert said == ()
    kept, said = without_bars_over(plan.pieces, (VentHole("A", "pour", below, 16.0, 0.0),))
    assert not any(f.role is Role.FOOT for f in kept[0].features)
    assert "foot bar of A" in said[0]
