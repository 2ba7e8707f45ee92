"""The joint of a designed mold: figures that follow by hand, words that come true, pictures that show it."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from shellgen.errors import ShellgenError
from shellgen.sheet import paper
from shellgen.shop.bolts import answer
from shellgen.shop.bolts_chart import draw_chart
from shellgen.shop.files import png, put_files
from shellgen.shop.joint.job import JointOptions, job_pitch_mm
from shellgen.shop.outline_chart import HALF, SHUT, WIDE, colour_of, draw_outline

BOX = ((0.0, 0.0), (300.0, 0.0), (300.0, 120.0), (0.0, 120.0))
EVEN = [(8.5 + x, 8.5) for x in (0, 70, 141, 212, 283)] + [(8.5 + x, 111.5) for x in (0, 70, 141, 212, 283)]
FEW = [(8.5, 8.5), (291.5, 8.5), (291.5, 111.5), (150, 111.5), (8.5, 111.5)]


def test_loads_by_hand(plan):
    found = answer(plan(BOX, EVEN), JointOptions(resin_g_cm3=1.05), (), ())
    diagonal = (300**2 + 60**2 + 40**2) ** 0.5
    assert found.loads.pressure_mpa == pytest.approx(1.05e-6 * 9.80665 * diagonal)  # rho g h, box's long diagonal
    assert found.loads.area_mm2 == 10000
    assert found.loads.seam_mm == pytest.approx(2 * (283 + 103) - 4 * 17 * (2 - np.pi / 2), rel=1e-4)
    # weight: solid cast 720 cm3 at 1.05; jacket 8 mm on 64 800 mm2 at 1.10; half as much wall, 6 mm at 1.27
    mass = 720 * 1.05 + 64.8 * 8 * 1.10 + 32.4 * 6 * 1.27
    assert found.loads.weight_n == pytest.approx(mass / 1000 * 9.80665, rel=1e-6)
    assert found.loads.line_load_n_per_mm == pytest.approx(
        max(found.loads.pressure_mpa * 10000, found.loads.weight_n) / found.loads.seam_mm
    )


def test_jacket_without_clearance_squeezes(plan):
    loose = answer(plan(BOX, EVEN), JointOptions())
    tight = answer(plan(BOX, EVEN), JointOptions(squeeze_mm=0.5))
    # E strain A / seam: 0.732 * 0.5/8 * 10 000 over the seam's length more
    more = tight.loads.line_load_n_per_mm - loose.loads.line_load_n_per_mm
    assert more == pytest.approx(0.732 * 0.5 / 8 * 10000 / loose.loads.seam_mm, rel=1e-6)
    assert tight.report.worst.opening_mm > loose.report.worst.opening_mm


def test_even_seam_holds_and_says_how_far_it_could_go(plan):
    found = answer(plan(BOX, EVEN), JointOptions())
    assert found.report.holds
    assert found.report.worst.span_mm == pytest.approx(
        103 - 17 * (2 - np.pi / 2), abs=0.05
    )  # the short sides, round corners
    assert any(s.startswith("The joint holds.") for s in found.says)
    assert {h.item for h in found.report.hardware} == {"hex bolt", "washer", "nut"}
    assert json.loads(json.dumps(found.as_dict()))["gaps"][0]["pair"] == ["A", "B"]


def test_advice_of_a_weak_seam_comes_true(plan):
    options = JointOptions(limit_mm=0.2)
    found = answer(plan(BOX, FEW, thickness_mm=5.0), options)
    assert not found.report.holds
    advice = next(s for s in found.says if "NOT hold" in s)
    thickness = float(re.search(r"flange\.thickness_mm = ([\d.]+)", advice)[1])
    assert answer(plan(BOX, FEW, thickness_mm=thickness), options).report.holds
    assert not answer(plan(BOX, FEW, thickness_mm=thickness - 0.5), options).report.holds
    pitch = float(re.search(r"bolts\.pitch_mm = ([\d.]+)", advice)[1])
    assert pitch == int(found.report.pitch.pitch_mm)


def test_auto_pitch_is_the_largest_pitch_of_the_report(plan):
    design = plan(BOX, EVEN)
    found = answer(design, JointOptions())
    pitch = job_pitch_mm(
        design.settings,
        design.pattern,
        pair=("A", "B"),
        area_mm2=found.loads.area_mm2,
        seam_mm=found.loads.seam_mm,
    )
    assert pitch == int(found.report.pitch.pitch_mm)


def test_curves_rise_with_pitch_and_fall_with_thickness(plan):
    found = answer(plan(BOX, EVEN), JointOptions(), ("M5", "M8"), (6.0, 10.0))
    assert [(c.size, c.thickness_mm) for c in found.curves] == [("M5", 6.0), ("M5", 10.0), ("M8", 6.0), ("M8", 10.0)]
    for c in found.curves:
        assert c.opening_mm[-1] == max(c.opening_mm)
    assert found.curves[1].opening_mm[-1] < found.curves[0].opening_mm[-1]
    # each is driven as far as 10 MPa under its washer allows: T = 0.2 F d
    m8 = 0.2 * 10 * np.pi / 4 * (16**2 - 9.0**2) * 8 / 1000
    assert found.curves[2].torque_nm == pytest.approx(m8)
    with pytest.raises(ShellgenError, match="thickness -1 mm must be above zero"):
        answer(plan(BOX, EVEN), JointOptions(), (), (-1.0,))
    with pytest.raises(ShellgenError, match="'M7' is not in the tables"):
        answer(plan(BOX, EVEN), JointOptions(), ("M7",), ())


def test_large_washers_want_a_wider_flange(plan):
    with pytest.raises(ShellgenError, match=r"18 mm wide, the flange has room for 15\.0 mm.*flange\.width_mm = 20"):
        answer(plan(BOX, EVEN), JointOptions(washer="large"))


def test_washers_that_overlap_and_torque_that_crushes_are_refused(plan):
    near = [*EVEN, (88.5, 8.5)]
    with pytest.raises(ShellgenError, match=r"10\.0 mm apart, but their washers are 12 mm wide"):
        answer(plan(BOX, near), JointOptions())
    with pytest.raises(ShellgenError, match=r"bolts\.torque_nm = 4 pulls 3333 N"):
        answer(plan(BOX, EVEN, torque_nm=4.0), JointOptions())


def test_bounds_by_hand(plan):
    found = answer(plan(BOX, EVEN), JointOptions())
    pressure = found.loads.pressure_mpa
    by = {b.what: b for b in found.bounds}
    # room of 99 mm between its outer nodes, wall 6: p r / t, and 0.0012653 q a^4 / D with nu = 0.38
    assert by["wall, round"].value == pytest.approx(pressure * 49.5 / 6)
    rigidity = 1600 * 6**3 / (12 * (1 - 0.38**2))
    assert by["wall, flat"].value == pytest.approx(0.0012653 * pressure * 99**4 / rigidity)
    # E t^3 / (4 (1 - nu^2) r^3), in kPa; the sphere's fifth is higher
    assert by["wall, from outside"].value == pytest.approx(1000 * 1600 * 6**3 / (4 * (1 - 0.38**2) * 49.5**3))
    assert "lid" not in by and "pattern" not in by


def test_colours_of_openings():
    assert colour_of(0.0, 0.2) == SHUT and colour_of(0.1, 0.2) == HALF
    assert colour_of(0.2, 0.2) == WIDE == colour_of(3.0, 0.2)


def test_pictures_show_what_the_report_says(plan):
    good, bad = answer(plan(BOX, EVEN), JointOptions()), answer(plan(BOX, FEW, thickness_mm=5.0), JointOptions())
    for found, holds in ((good, True), (bad, False)):
        page = np.asarray(draw_outline(found, "by hand"))[paper.FRAME[1] : paper.FRAME[3]]
        red = np.all(page == WIDE, axis=2).sum()
        assert (red == 0) == holds
        chart = draw_chart(found, "by hand")
        assert chart.size == paper.SIZE
        assert png(chart) == png(draw_chart(found, "by hand"))
    changed = replace(good, report=replace(good.report, limit_mm=0.1))
    assert png(draw_chart(changed, "by hand")) != png(draw_chart(good, "by hand"))


def test_files_land_whole_and_leave_others_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    put_files(tmp_path, {"a.txt": b"1", "sub/b.txt": b"2"})
    put_files(tmp_path, {"a.txt": b"3"})
    assert (tmp_path / "a.txt").read_bytes() == b"3" and (tmp_path / "sub/b.txt").read_bytes() == b"2"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "mine.txt", "sub"]
    with pytest.raises(ShellgenError, match=r"cannot be written.*--out"):
        put_files(tmp_path / "mine.txt", {"a.txt": b"1"})
