"""A poured jacket: pour at the top, bores that let all air out, counted, drawn along the pull, clear of bolts."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from shellgen.checks.holes import genus_of
from shellgen.job.defaults import fill_in
from shellgen.job.model import Settings
from shellgen.mold.design import design
from shellgen.mold.finish import finish
from shellgen.pattern.intake import take_in
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


def test_spacers_are_asked_for_only_where_no_board_holds_the_pattern(lying, standing):
    thickness = lying.settings.jacket.thickness_mm
    assert any(f"pads of cured silicone, {thickness:g} mm thick" in note for note in lying.notes)
    assert not any("pads" in note for note in standing.notes)


def test_brushed_rubber_needs_no_vents(tmp_path):
    plan = poured(tmp_path, jacket={"method": "brush"}, parting={"plane": {"normal": [0, 0, 1]}})
    assert plan.pour is None
    assert len(bores(plan)) == 1  # the port
