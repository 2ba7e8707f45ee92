"""The assessed joint: pitch, torque, bolt list and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from shellgen.errors import ShellgenError
from shellgen.shop.joint.closed_forms import clamped_span_mm, supported_span_mm
from shellgen.shop.joint.hardware import Place, hardware_list, needed_length_mm, stock_length_mm
from shellgen.shop.joint.loads import JointLoads
from shellgen.shop.joint.pitch import largest_pitch, least_pitch_mm, row_opening_mm
from shellgen.shop.joint.report import assess, auto_pitch_mm
from shellgen.shop.joint.seam import SeamLine
from shellgen.shop.joint.section import Flange, JointSection
from shellgen.shop.joint.tighten import Tightening, tighten
from shellgen.standards.fasteners import bolt

M6 = bolt("M6")


def joint(thickness: float = 8.0, **changes: float) -> JointSection:
    flange = replace(Flange(20, thickness, 6, 1600, 10), **changes)
    return JointSection(flange, flange, 16)


def loads(line_load: float) -> JointLoads:
    """Loads that come to the given force per length, all of it weight."""
    return JointLoads(0, 0, line_load * 1000, 0, 1000)


def test_section_by_hand():
    section = joint()
    # 26 x 8: I = 26 * 512 / 12 = 1109.33; pair in series halves it; k = E b / 2 t = 1600 * 26 / 16
    assert section.bending_nmm2() == pytest.approx(1600 * 26 * 512 / 12 / 2)
    assert section.foundation_mpa() == pytest.approx(2600)
    # wall's middle at 3, bolts at 16, edge at 26: arm 13, heel 10, prying 2.3
    assert (section.arm_mm, section.heel_mm, section.prying) == (13, 10, pytest.approx(2.3))
    # cantilever 13 - 6 = 7 long, strip min(80, 12 + 14) = 26 wide: 2 * 40 * 343 / (3 * 1600 * 1109.33)
    across = section.across_mm(line_load_n_per_mm=0.5, span_mm=80, seat_mm=12)
    assert across == pytest.approx(2 * 40 * 343 / (3 * 1600 * 26 * 512 / 12))
    assert section.across_mm(line_load_n_per_mm=0.5, span_mm=80, seat_mm=30) == 0


def test_gussets_and_ribs_stiffen():
    plain, webbed, ribbed = joint(), joint(web_mm=16), joint(rib_mm=12)
    # flange 26 x 8 with a wall of 6 x 16 on it: centroid (208*4 + 96*16)/304 = 7.7895
    by_hand = 26 * 512 / 12 + 208 * (7.78947 - 4) ** 2 + 6 * 4096 / 12 + 96 * (16 - 7.78947) ** 2
    assert webbed.first.along_mm4() == pytest.approx(by_hand, rel=1e-5)
    assert plain.first.along_mm4() < ribbed.first.along_mm4() < webbed.first.along_mm4()
    across = {"line_load_n_per_mm": 0.5, "span_mm": 80, "seat_mm": 12}
    assert webbed.across_mm(**across) < plain.across_mm(**across)
    clamp = tighten(plain, M6, Tightening()).clamp
    assert row_opening_mm(100, webbed, clamp, 0.5) < 0.5 * row_opening_mm(100, plain, clamp, 0.5)


@pytest.mark.parametrize("load", [0.2, 0.6])
def test_largest_pitch_opens_just_to_the_limit_and_lies_between_the_span_formulas(load):
    section = joint()
    clamp = tighten(section, M6, Tightening(washer="large")).clamp
    found = largest_pitch(section, M6, clamp, load, 0.2)
    assert found.governs == "opening"
    assert row_opening_mm(found.pitch_mm, section, clamp, load) == pytest.approx(0.2, abs=2e-3)
    case = {"load_n_per_mm": load, "bending_nmm2": section.bending_nmm2()}
    # stiffest: clamped between the washers' edges; softest: freely supported from bolt to bolt
    assert (
        clamped_span_mm(span_mm=found.pitch_mm - 18, **case) < 0.2 < supported_span_mm(span_mm=found.pitch_mm, **case)
    )


def test_pitch_falls_with_load_and_grows_with_thickness():
    clamp = tighten(joint(), M6, Tightening()).clamp
    pitches = [largest_pitch(joint(), M6, clamp, q, 0.2).pitch_mm for q in (0.1, 0.3, 0.6)]
    assert pitches == sorted(pitches, reverse=True)
    thick = [largest_pitch(joint(t), M6, clamp, 0.3, 0.2).pitch_mm for t in (6.0, 8.0, 10.0)]
    assert thick == sorted(thick)


def test_preload_governs_a_stiff_flange():
    section = joint(20.0)
    clamp = tighten(section, M6, Tightening()).clamp
    found = largest_pitch(section, M6, clamp, 2.0, 0.2)
    assert found.governs == "preload"
    assert found.pitch_mm == pytest.approx(clamp.preload_n / (2.0 * section.prying))
    assert largest_pitch(section, M6, clamp, 0.0, 0.2).governs == "widest"


def test_no_pitch_holds_a_limp_flange():
    section = joint(3.0, modulus_mpa=200)
    with pytest.raises(ShellgenError, match=r"bolts\.pitch_mm = 'auto' finds no pitch: .*(thicker|larger)"):
        auto_pitch_mm(section, M6, loads(4.0))
    report = assess(section, M6, [SeamLine(("A", "B"), (60.0,), (10.0, 10.0))], loads(4.0))
    assert report.pitch.governs == "none" and not report.holds
    with pytest.raises(ShellgenError, match="flash limit 0 mm must be above zero"):
        auto_pitch_mm(joint(), M6, loads(0.1), limit_mm=0)


def test_auto_pitch_is_a_whole_millimetre_that_holds():
    pitch = auto_pitch_mm(joint(), M6, loads(0.3))
    clamp = tighten(joint(), M6, Tightening()).clamp
    assert pitch == int(pitch)
    assert row_opening_mm(pitch, joint(), clamp, 0.3) <= 0.2 < row_opening_mm(pitch + 1.5, joint(), clamp, 0.3)
    assert pitch >= least_pitch_mm(M6, 12)


def test_torque_that_crushes_is_refused_with_what_works():
    with pytest.raises(
        ShellgenError, match=r"torque_nm = 5 pulls 4167 N: 52\.\d MPa .*bears 10.*Use 0\.95 N m or less"
    ):
        tighten(joint(), M6, Tightening(torque_nm=5))
    most = tighten(joint(), M6, Tightening())
    assert most.torque_nm == most.most_torque_nm
    assert most.bearing_mpa == pytest.approx(10)
    assert most.kept_n == pytest.approx(most.preload_n / 2)
    with pytest.raises(ShellgenError, match=r"proof load\. Use 5\.6\d N m"):
        tighten(joint(bearing_mpa=500), M6, Tightening(torque_nm=20))


def test_flange_is_soft_beside_its_bolt():
    driven = tighten(joint(), M6, Tightening())
    # printed members of 16 mm grip: Shigley 9th ed. Eq. 8-19 twice in series, d 6.6, D 12; steel bolt far stiffer
    assert driven.load_share > 0.9


def test_report_of_uneven_bolts():
    lines = [SeamLine(("A", "B"), (60.0, 110.0, 70.0), (15.0, 30.0))]
    report = assess(joint(), M6, lines, loads(0.4))
    assert [g.kind for g in report.gaps] == ["end", "span", "span", "span", "end"]
    assert report.worst.span_mm == 110.0
    assert report.holds == (report.worst.opening_mm <= 0.2)
    data = report.as_dict()
    assert {
        "gaps",
        "largest_pitch_mm",
        "limit_mm",
        "preload_n",
        "bearing_mpa",
        "hardware",
    } <= set(data)
    assert {"pair", "span_mm", "opening_mm", "contact_mpa"} <= set(data["gaps"][0])
    assert json.loads(json.dumps(data)) == data
    # the mean pressure of a gap between equal bolts balances their force less the load
    even = assess(joint(), M6, [SeamLine(("A", "B"), (60.0,) * 4, None)], loads(0.4)).gaps[2]
    assert even.contact_mpa * 60 * 26 == pytest.approx(even.bolt_n - 0.4 * 60, rel=5e-3)
    with pytest.raises(ShellgenError, match="no bolts"):
        assess(joint(), M6, [], loads(0.4))


def test_bolt_lengths_by_hand():
    # M6 through 8 + 8 with two washers (1.8 max), nut 5.2 and two threads of 1: 16 + 3.6 + 5.2 + 2 = 26.8 -> 30
    place = Place(M6, 16.0, ("washer", "washer"), "closing")
    assert needed_length_mm(place)[0] == pytest.approx(26.8)
    assert stock_length_mm(place) == 30
    # nut in a pocket, seat to seat 11: one washer -> 11 + 1.8 + 5.2 + 2 = 20.0 -> 20
    assert stock_length_mm(Place(M6, 11.0, ("washer", "pocket"), "closing")) == 20
    # insert: 8 + 1.8 + at least 6, at most the bored depth 13.7 -> 15.8 to 23.5 -> 16
    assert stock_length_mm(Place(M6, 8.0, ("washer", "insert"), "closing")) == 16
    # board of 18 mm: 8 + 18 + 3.6 + 5.2 + 2 = 36.8 -> 40
    assert stock_length_mm(Place(M6, 8.0, ("washer", "board"), "board")) == 40


def test_a_bolt_that_cannot_reach_is_refused():
    with pytest.raises(
        ShellgenError, match=r"at least 70\.8 mm long, stock runs from 12 to 60 mm and the nearest is 60"
    ):
        stock_length_mm(Place(M6, 60.0, ("washer", "washer"), "closing"))
    with pytest.raises(ShellgenError, match="no insert is tabulated for M8"):
        stock_length_mm(Place(bolt("M8"), 8.0, ("washer", "insert"), "closing"))


def test_bolt_list_counts():
    places = [Place(M6, 16.0, ("washer", "washer"), "closing")] * 5 + [Place(M6, 8.0, ("washer", "board"), "board")] * 3
    items = {(h.setup, h.item): (h.count, h.length_mm, h.standard) for h in hardware_list(places)}
    assert items == {
        ("board", "hex bolt"): (3, 40, "ISO 4017"),
        ("board", "nut"): (3, None, "ISO 4032"),
        ("board", "washer"): (6, None, "ISO 7089"),
        ("closing", "hex bolt"): (5, 30, "ISO 4017"),
        ("closing", "nut"): (5, None, "ISO 4032"),
        ("closing", "washer"): (10, None, "ISO 7089"),
    }
    assert hardware_list(places[::-1]) == hardware_list(places)


def test_bolt_line_off_the_flange_is_refused():
    flange = Flange(20, 8, 6, 1600, 10)
    with pytest.raises(ShellgenError, match=r"bolt line 30 mm .* \(6 to 26 mm\)\. Use 16"):
        JointSection(flange, flange, 30)
    with pytest.raises(ShellgenError, match="modulus_mpa = 0 must be above zero"):
        Flange(20, 8, 6, 0, 10)
