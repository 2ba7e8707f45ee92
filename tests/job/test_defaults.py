"""Defaults by size: filled where open, kept where given, never smaller for a larger pattern."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from shellgen.errors import DesignError
from shellgen.job.defaults import (
    bolt_pitch_mm,
    bolt_size,
    choices,
    crevice_mm,
    fill_in,
    port_diameter_mm,
    raster_pitch_mm,
    rubber_thickness_mm,
    wall_mm,
)
from shellgen.job.model import Settings
from shellgen.standards.fasteners import bolt

LEFT_OPEN = {
    "pattern.file",
    "pattern.demo",
    "pattern.longest_side_mm",
    "mount.stem_diameter_mm",
    "mount.stem_length_mm",
    "mount.stem_at_mm",
    "parting.axis_at_mm",
    "bolts.flash_limit_mm",
    "bolts.torque_nm",
    "shell.modulus_mpa",
    "limits.bed_mm",
    "limits.lift_kg",
}


def box(x: float, y: float, z: float) -> list[list[float]]:
    return [[0, 0, 0], [x, y, z]]


def asked(**tables: dict) -> Settings:
    return Settings.model_validate(tables)


def still_open(model: BaseModel, prefix: str = "") -> set[str]:
    found: set[str] = set()
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            found |= still_open(value, f"{prefix}{name}.")
        elif value is None:
            found.add(f"{prefix}{name}")
    return found


def test_nothing_is_left_open_that_size_decides():
    assert still_open(fill_in(Settings(), box(100, 60, 380))) == LEFT_OPEN


def test_what_is_given_is_kept():
    given_ = asked(
        jacket={"clearance_mm": 1.25, "key_height_mm": 3.5, "key_spacing_mm": 33},
        flange={"width_mm": 40, "thickness_mm": 12},
        bolts={"size": "M8", "pitch_mm": 77},
        port={"diameter_mm": 21, "lid_thickness_mm": 6},
        mount={"flange_mm": 50},
        raster={"pitch_mm": 1.5},
    )
    assert fill_in(given_, box(100, 60, 380)) == given_
    assert choices(given_, box(100, 60, 380)) == ()


def test_filling_in_twice_changes_nothing():
    once = fill_in(Settings(), box(100, 60, 380))
    assert fill_in(once, box(100, 60, 380)) == once


def test_clearance_depends_on_how_the_rubber_is_made():
    bounds = box(100, 60, 380)
    assert fill_in(asked(jacket={"method": "brush"}), bounds).jacket.clearance_mm == 0.5
    assert fill_in(asked(jacket={"method": "pour"}), bounds).jacket.clearance_mm == 0.0
    why = {choice.key: choice.why for choice in choices(Settings(), bounds)}
    assert "varies by hand" in why["jacket.clearance_mm"]


def test_every_choice_says_why():
    assert all(len(choice.why) > 10 for choice in choices(Settings(), box(30, 20, 10)))


@pytest.mark.parametrize(
    ("longest", "size"), [(10, "M4"), (119, "M4"), (120, "M5"), (299, "M5"), (380, "M6"), (700, "M8"), (1600, "M10")]
)
def test_bolt_grows_with_the_pattern(longest, size):
    assert bolt_size(longest) == size
    assert fill_in(Settings(), box(longest, 5, 5)).bolts.size == size


@pytest.mark.parametrize("size", ["M4", "M5", "M6", "M8", "M10", "M12", "1/4 in", "5/16 in"])
def test_default_flange_has_room_for_the_washer(size):
    flange = fill_in(asked(bolts={"size": size}), box(100, 60, 380)).flange
    washer = bolt(size).washer_od_mm  # ISO 7089
    assert washer + 3.5 <= flange.width_mm < washer + 4.5


def test_flange_is_two_thicker_than_the_thickest_wall():
    assert fill_in(asked(shell={"wall_mm": 5}), box(9, 9, 90)).flange.thickness_mm == 7
    settings = asked(shell={"wall_mm": 5}, pieces={"B": {"wall_mm": 9}})
    filled = fill_in(settings, box(9, 9, 90))
    assert (filled.flange.thickness_mm, filled.port.lid_thickness_mm) == (11, 11)


def test_narrow_flange_is_refused():
    # ISO 7089, plain washer M8: outside diameter 16 mm; 16 + 1.5 + 2 = 19.5
    with pytest.raises(
        DesignError, match=r"flange.width_mm = 12: too narrow for an M8 washer \(16 mm\) .* Give 19.5 or more"
    ):
        fill_in(asked(flange={"width_mm": 12}, bolts={"size": "M8"}), box(100, 60, 380))
    with pytest.raises(DesignError, match=r"mount.flange_mm = 9: too narrow for an M6 washer"):
        fill_in(asked(mount={"kind": "board", "flange_mm": 9}), box(100, 60, 380))
    assert fill_in(asked(mount={"kind": "board", "flange_mm": 9, "bolts": False}), box(9, 9, 380)).mount.flange_mm == 9


def test_bolts_too_close_are_refused():
    with pytest.raises(
        DesignError, match=r"bolts.pitch_mm = 11: closer than M6 washers \(12 mm\) can sit. Give 14 or more"
    ):
        fill_in(asked(bolts={"size": "M6", "pitch_mm": 11}), box(100, 60, 380))


def test_calculated_pitch_is_left_to_the_joint():
    assert fill_in(asked(bolts={"pitch_mm": "auto"}), box(100, 60, 380)).bolts.pitch_mm == "auto"


@given(st.floats(10, 5000), st.floats(10, 5000))
def test_defaults_never_shrink_as_the_pattern_grows(one, other):
    small, large = sorted((one, other))
    for rule in (rubber_thickness_mm, wall_mm, crevice_mm, raster_pitch_mm, port_diameter_mm):
        assert rule(small) <= rule(large)
    assert bolt(bolt_size(small)).d_mm <= bolt(bolt_size(large)).d_mm
    assert bolt_pitch_mm(bolt_size(small), small) <= bolt_pitch_mm(bolt_size(large), large)


@given(st.floats(10, 5000))
def test_defaults_stay_in_the_range_a_job_file_takes(longest):
    filled = fill_in(Settings(), box(longest, longest / 3, longest / 7))
    assert Settings.model_validate(filled.model_dump()) == filled
    assert 1 <= rubber_thickness_mm(longest) <= 60
    assert 0.25 <= raster_pitch_mm(longest) <= 2
    assert 2 <= filled.jacket.key_height_mm <= 5
    assert filled.port.diameter_mm < max(longest / 3, 40.1)
    assert not math.isnan(filled.bolts.pitch_mm)


def test_port_is_forty_where_the_size_allows():
    assert port_diameter_mm(50) == 17.5
    assert port_diameter_mm(115) == 40
    assert port_diameter_mm(160) == 40
    assert port_diameter_mm(240) == 60
    assert port_diameter_mm(2000) == 120


def test_raster_is_fine_enough_for_the_rubber_of_that_size():
    for longest in (10, 50, 120, 200, 400, 800, 2000):
        assert raster_pitch_mm(longest) ** 2 / rubber_thickness_mm(longest) <= 0.16
    assert (raster_pitch_mm(20), raster_pitch_mm(400), raster_pitch_mm(5000)) == (0.25, 0.7, 2.0)
