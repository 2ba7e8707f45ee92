"""The coupon: pieces that fit each other, predictions by the job's own solver, a table that finds a known modulus."""

from __future__ import annotations

import csv
from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest

from shellgen.errors import ShellgenError
from shellgen.shop.coupon.measured import calibrate, read_table, spots, table_text
from shellgen.shop.coupon.pieces import bolt_places_mm, key_shape, meshes, pieces
from shellgen.shop.coupon.plan import CouponPlan, coupon_plan
from shellgen.shop.coupon.sheet import SIZE, draw_sheet
from shellgen.shop.files import png
from shellgen.shop.joint.job import JointOptions
from shellgen.shop.joint.section import stacked_mm4
from shellgen.solid.mesh import plate_solid, shape_solid

BOX = ((0.0, 0.0), (300.0, 0.0), (300.0, 120.0), (0.0, 120.0))
SPOTS = [(8.5 + x, y) for y in (8.5, 111.5) for x in (0.0, 70.0, 141.0, 212.0, 283.0)]


@pytest.fixture
def coupon(plan) -> CouponPlan:
    return coupon_plan(plan(BOX, SPOTS), JointOptions())


def solid_of(coupon: CouponPlan, name: str) -> m3.Manifold:
    return plate_solid(next(p for p in pieces(coupon) if p.name == name))


def test_strips_carry_the_jobs_section_and_hardware(coupon):
    strips = coupon.strips
    assert (strips.bolt.size, strips.hole_mm) == ("M6", 6.6)
    assert strips.width_mm == 16 + 6
    assert strips.section.first.thickness_mm == 8
    assert strips.section.bending_nmm2() == pytest.approx(1600 * stacked_mm4([(22, 8, 0)]) / 2)
    spans = strips.line.spans_mm
    assert len(spans) == 3 and spans == tuple(sorted(spans)) and spans[2] > 2 * spans[0]
    assert strips.line.length_mm <= 241


def test_prediction_lies_between_the_beam_formulas(coupon):
    # F L^3 / (192 E I) clamped between washers, F L^3 / (48 E I) supported from bolt to bolt (any beam table)
    strips = coupon.strips
    force, span = strips.weight_kg * 9.80665, strips.line.spans_mm[2]
    bending = strips.section.bending_nmm2()
    clamped = force * (span - strips.driven.seat_mm) ** 3 / (192 * bending)
    supported = force * span**3 / (48 * bending)
    assert clamped < strips.predicted_mm()[2] < supported
    assert strips.predicted_mm()[0] < strips.predicted_mm()[1] < strips.predicted_mm()[2]


def test_softer_strips_open_in_proportion(coupon):
    # preload aside, deflection goes with 1/E
    stiff, soft = coupon.strips.predicted_mm(3200)[2], coupon.strips.predicted_mm(1600)[2]
    assert soft / stiff == pytest.approx(2.0, rel=0.1)


def test_solids_are_whole_and_have_their_holes(coupon):
    for recipe in pieces(coupon):
        solid = plate_solid(recipe)
        assert solid.status() == m3.Error.NoError
        assert len(solid.decompose()) == 1
        assert solid.genus() == recipe.genus()
    by_name = {r.name: r for r in pieces(coupon)}
    assert by_name["strip-a"].genus() == 4 + 2 * 3  # bolts, and a tie hole in each tab
    assert by_name["sockets"].genus() == 0


def test_every_piece_lies_on_the_bed(coupon):
    for name, vertices, faces in meshes(coupon):
        assert vertices[:, 2].min() == pytest.approx(0, abs=1e-6)
        flat = vertices[faces][np.all(np.abs(vertices[faces][:, :, 2]) < 1e-6, axis=1)]
        area = np.linalg.norm(np.cross(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]), axis=1).sum() / 2
        box = np.ptp(vertices[:, :2], axis=0).prod()
        assert area > 0.3 * box, name  # it stands on a face, not on an edge


def test_strip_b_turned_over_lies_on_strip_a(coupon):
    """Bolts pass through both, edges meet, and the faces touch without overlapping."""
    a, b = solid_of(coupon, "strip-a"), solid_of(coupon, "strip-b")
    turned = b.rotate((180.0, 0.0, 0.0)).translate((0.0, coupon.strips.width_mm, 0.0))
    assert (a ^ turned).volume() < 1e-6
    low, high = np.array(a.bounding_box()).reshape(2, 3), np.array(turned.bounding_box()).reshape(2, 3)
    assert low[:, :2] == pytest.approx(high[:, :2], abs=1e-6)
    y = coupon.strips.width_mm - coupon.strips.section.bolt_line_mm
    for x in bolt_places_mm(coupon.strips):
        pin = m3.Manifold.cylinder(40, 3.0, 3.0, 48).translate((x, y, -20.0))
        assert (pin ^ (a + turned)).volume() < 1e-6
    wide = m3.Manifold.cylinder(40, 3.6, 3.6, 48).translate((bolt_places_mm(coupon.strips)[0], y, -20.0))
    assert (wide ^ a).volume() > 1.0


@pytest.mark.parametrize("kind", ["cone", "dome"])
def test_sockets_leave_the_clearance_that_is_engraved(coupon, kind):
    """Distance from key to socket, measured between the solids."""
    keys = replace(coupon.keys, kind=kind)
    male = shape_solid(key_shape(keys, 0.0, 1.0, 0.0, (0.0, 0.0)), cut=False)
    for play in (0.1, 0.3, 0.5):
        female = shape_solid(key_shape(keys, 0.0, -1.0, play, (0.0, 0.0)), cut=True)
        block = m3.Manifold.cube((40, 40, 15), True).translate((0, 0, -7.5)) - female
        pressed = male.rotate((180.0, 0.0, 0.0))
        assert (pressed ^ block).volume() < 1e-9
        inner = pressed.trim_by_plane((0.0, 0.0, -1.0), 0.05)
        gap = inner.min_gap(block, 3.0)
        assert gap == pytest.approx(play, abs=0.035)  # facets of 0.02 mm on both


def test_tray_holds_its_steps(coupon):
    solid, tray = solid_of(coupon, "steps"), coupon.tray
    assert tray.depths_mm == (4, 6, 8, 10, 12)  # half to one and a half times 8 mm of rubber
    full = m3.Manifold.cube(tuple(np.array(solid.bounding_box())[3:]))
    rubber = 24 * 24 * sum(tray.depths_mm)
    assert (full - solid).volume() == pytest.approx(rubber, rel=0.01)  # engraving apart


def filled(text: str, **values: str) -> str:
    lines = text.splitlines()
    for k, line in enumerate(lines):
        name = line.split(",")[0].replace(" ", "_").replace(".", "_")
        if name in values:
            lines[k] = line + values[name]
    return "\n".join(lines) + "\n"


def test_table_finds_the_modulus_that_made_the_openings(coupon, tmp_path):
    true = coupon.strips.predicted_mm(1150.0)
    path = tmp_path / "measured.csv"
    text = filled(table_text(coupon), gap_1=f"{true[0]:.4f}", gap_2=f"{true[1]:.4f}", gap_3=f"{true[2]:.4f}")
    path.write_text(text)
    found = calibrate(coupon, read_table(path, coupon), path)
    assert found.modulus_mpa == pytest.approx(1150, rel=2e-3)
    assert found.scatter_percent < 0.5
    assert found.key_clearance_mm is None and found.jacket_clearance_mm is None


def test_feeler_steps_of_a_twentieth_still_find_it_within_a_tenth(coupon, tmp_path):
    true = coupon.strips.predicted_mm(1150.0)
    rough = [round(20 * t) / 20 for t in true]
    path = tmp_path / "measured.csv"
    path.write_text(filled(table_text(coupon), gap_1=f"{rough[0]}", gap_2=f"{rough[1]}", gap_3=f"{rough[2]}"))
    assert calibrate(coupon, read_table(path, coupon), path).modulus_mpa == pytest.approx(1150, rel=0.1)


def test_table_picks_the_clearances(coupon, tmp_path):
    path = tmp_path / "measured.csv"
    answers = {"socket_0_1": "n", "socket_0_2": "no", "socket_0_3": "y", "socket_0_4": "Y", "step_8": "8.32"}
    path.write_text(filled(table_text(coupon), step_4="3.9", **answers))
    found = calibrate(coupon, read_table(path, coupon), path)
    assert found.key_clearance_mm == 0.3
    assert found.jacket_clearance_mm == 0.4  # 0.32 too thick, rounded up to a tenth
    assert found.modulus_mpa is None


def test_table_saved_with_semicolons_and_decimal_commas(coupon, tmp_path):
    rows = list(csv.reader(table_text(coupon).splitlines()))
    next(row for row in rows if row[0] == "gap 3")[4] = "0,6 mm"
    path = tmp_path / "measured.csv"
    path.write_text("\n".join(";".join(row) for row in rows), encoding="utf-8-sig")
    assert read_table(path, coupon) == {"gap 3": "0,6 mm"}
    assert calibrate(coupon, read_table(path, coupon), path).openings_mm[0][1] == 0.6


def test_empty_table_is_refused(coupon, tmp_path):
    path = tmp_path / "measured.csv"
    path.write_text(table_text(coupon))
    with pytest.raises(ShellgenError, match="nothing is filled in"):
        read_table(path, coupon)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("gap_1", "wide", r"gap 1 = 'wide' is not a number"),
        ("gap_1", "-0.2", r"gap 1 = -0\.2 mm cannot be"),
        ("gap_3", "nan", r"gap 3 = 'nan' is not a number"),
        ("gap_3", "60", r"fit no modulus within a factor 20"),
        ("socket_0_2", "perhaps", r"socket 0\.2 = 'perhaps': write y"),
    ],
)
def test_bad_entries_are_named(coupon, tmp_path, name, value, says):
    path = tmp_path / "measured.csv"
    path.write_text(filled(table_text(coupon), **{name: value}))
    with pytest.raises(ShellgenError, match=says):
        calibrate(coupon, read_table(path, coupon), path)


def test_bad_tables_are_named(coupon, tmp_path):
    path = tmp_path / "measured.csv"
    with pytest.raises(ShellgenError, match="cannot be read"):
        read_table(path, coupon)
    path.write_text("a,b\n1,2\n")
    with pytest.raises(ShellgenError, match="column 'spot' is missing"):
        read_table(path, coupon)
    path.write_bytes(b"\xff\xfe\x00spot")
    with pytest.raises(ShellgenError, match="is not text"):
        read_table(path, coupon)
    path.write_text(filled(table_text(coupon), gap_1="0.2").replace("gap 1", "gap 9"))
    with pytest.raises(ShellgenError, match=r"'gap 9' .*not on this job's coupon"):
        read_table(path, coupon)
    text = filled(table_text(coupon), gap_1="0.2")
    path.write_text(text + next(line for line in text.splitlines() if line.startswith("gap 1")) + "\n")
    with pytest.raises(ShellgenError, match="'gap 1' is there twice"):
        read_table(path, coupon)


def test_short_bed_is_refused_with_what_it_needs(plan):
    design = plan(BOX, SPOTS)
    limits = design.settings.limits.model_copy(update={"bed_mm": (100.0, 100.0, 100.0)})
    small = replace(design, settings=design.settings.model_copy(update={"limits": limits}))
    with pytest.raises(ShellgenError, match=r"strip of 90 mm is too short for three gaps of M6; it needs 1\d\d"):
        coupon_plan(small, JointOptions())


def test_sheet_is_one_page_and_the_same_each_time(coupon):
    page = draw_sheet(coupon)
    assert page.size == SIZE
    assert SIZE[1] / SIZE[0] == pytest.approx(297 / 210, rel=1e-3)  # ISO 216 A4
    assert png(page) == png(draw_sheet(coupon))
    edge = np.asarray(page)[:, SIZE[0] - 60 :]
    assert len(np.unique(edge.reshape(-1, 3), axis=0)) == 1  # nothing runs off the right-hand side
    assert [s.name for s in spots(coupon)][:3] == ["gap 1", "gap 2", "gap 3"]
