"""Preload, cones, loads, closed-form beams, handbook bands: worked examples of textbooks, named beside each check."""

from __future__ import annotations

import math

import pytest

from shellgen.errors import ShellgenError
from shellgen.shop.joint import closed_forms as beam
from shellgen.shop.joint.frustum import bolt_stiffness, frustum_stiffness, load_share, member_stiffness
from shellgen.shop.joint.loads import JointLoads, buoyancy_n, head_pressure_mpa, squeeze_mpa, weight_n
from shellgen.shop.joint.pitch import bands
from shellgen.shop.joint.preload import (
    hex_area_mm2,
    largest_torque_nm,
    preload_n,
    proof_preload_n,
    ring_area_mm2,
    torque_nm,
)
from shellgen.shop.joint.seat import least_area_mm2, seat_area_mm2
from shellgen.shop.joint.section import Layer, stacked_mm4
from shellgen.standards.fasteners import bolt


# T = K F d at 0.75 of the proof load, K = 0.2 (Shigley 9th ed. Eq. 8-31; 8.8 then 4.8), As unrounded
@pytest.mark.parametrize(
    ("size", "strong", "weak"),
    [("M5", 6.17, 3.30), ("M6", 10.5, 5.61), ("M8", 25.5, 13.6), ("M10", 50.5, 27.0), ("M12", 88.0, 47.0)],
)
def test_torque_at_three_quarters_of_proof(size, strong, weak):
    data = bolt(size)
    area = math.pi / 4 * (data.d_mm - 0.9382 * data.pitch_mm) ** 2
    for grade, wanted, digits in (("8.8", strong, 5e-3), ("4.8", weak, 5e-3)):
        exact = proof_preload_n(data, grade) * area / data.stress_area_mm2
        tolerance = digits if wanted < 10 else 0.05
        assert torque_nm(exact, data.d_mm) == pytest.approx(wanted, abs=tolerance)


def test_rounded_area_of_m5_gives_the_other_printed_figure():
    assert torque_nm(proof_preload_n(bolt("M5"), "8.8"), 5) == pytest.approx(6.18, abs=5e-3)  # As rounded to 14.2


def test_torque_and_preload_are_inverse():
    assert preload_n(torque_nm(1234, 6, 0.18), 6, 0.18) == pytest.approx(1234)


# closed form pi/4 (d2^2 - d1^2): ISO 7089 and ISO 7093-1 washers, M5 to M12
@pytest.mark.parametrize(
    ("size", "plain", "large"),
    [("M5", 56.5, 154.7), ("M6", 80.9, 222.3), ("M8", 145.6, 397.0), ("M10", 227.6, 620.3), ("M12", 319.7, 942.5)],
)
def test_washer_areas(size, plain, large):
    for kind, wanted in (("plain", plain), ("large", large)):
        washer = bolt(size).washer_of(kind)
        assert ring_area_mm2(washer.od_mm, washer.id_mm) == pytest.approx(wanted, abs=0.05)
        assert seat_area_mm2(bolt(size), "washer", hole_mm=washer.id_mm, washer=kind) == pytest.approx(wanted, abs=0.05)


def test_torque_limited_by_bearing():  # M6, K = 0.2, 10 MPa (practice): large 2223 N, 2.67 N m; plain 809 N, 0.971 N m
    data = bolt("M6")
    for kind, force, torque in (("large", 2223, 2.67), ("plain", 809, 0.971)):
        area = ring_area_mm2(data.washer_of(kind).od_mm, data.washer_of(kind).id_mm)
        assert area * 10 == pytest.approx(force, abs=0.5)
        assert largest_torque_nm(area_mm2=area, bearing_mpa=10, bolt=data) == pytest.approx(torque, abs=5e-3)


def test_strong_flange_leaves_the_bolt_to_decide():
    data = bolt("M6")
    area = ring_area_mm2(18, 6.4)
    most = largest_torque_nm(area_mm2=area, bearing_mpa=100, bolt=data)
    assert most == pytest.approx(torque_nm(proof_preload_n(data, "4.8"), 6))
    # 0.75 of the 4.8 proof load, 4679 N, would press 21.0 MPa under the large washer
    assert 0.75 * 310 * math.pi / 4 * (6 - 0.9382) ** 2 / area == pytest.approx(21.0, abs=0.05)


def test_seats():
    data = bolt("M6")
    # a wide hole eats into the washer: pi/4 (12^2 - 7^2)
    assert seat_area_mm2(data, "washer", hole_mm=7.0) == pytest.approx(74.61, abs=5e-3)
    # hexagon of 10 across flats less a 6.6 hole: 86.603 - 34.212
    assert hex_area_mm2(10, 6.6) == pytest.approx(52.391, abs=5e-4)
    assert least_area_mm2(data, ("washer", "pocket"), hole_mm=6.6) == pytest.approx(52.391, abs=5e-4)
    assert seat_area_mm2(data, "insert", hole_mm=6.6) is None
    with pytest.raises(ShellgenError, match="presses on nothing"):
        least_area_mm2(data, ("board", "insert"), hole_mm=6.6)
    with pytest.raises(ShellgenError, match="swallows the M6 washer"):
        seat_area_mm2(data, "washer", hole_mm=13)


def test_unknown_grade_is_refused():
    with pytest.raises(ShellgenError, match=r"grade '10\.9' is not tabulated for M6\. Use one of 4\.8, 8\.8"):
        proof_preload_n(bolt("M6"), "10.9")


def test_pressure_cone():  # Shigley solution manual ch. 8: E 207 GPa, t 20, d 10, D 15: 3503 MN/m (3502.9 computed)
    k = frustum_stiffness(modulus_mpa=207e3, hole_mm=10, seat_mm=15, thickness_mm=20)
    assert k / 1e3 == pytest.approx(3503, rel=2e-4)


def test_pressure_cones_in_series():  # same source: 44 044, 1567 and 3503 MN/m in series give 1057
    first = frustum_stiffness(modulus_mpa=96e3, hole_mm=10, seat_mm=38.09, thickness_mm=2.5)
    second = frustum_stiffness(modulus_mpa=96e3, hole_mm=10, seat_mm=15, thickness_mm=22.5)
    assert first / 1e3 == pytest.approx(44044, rel=2e-4)
    assert second / 1e3 == pytest.approx(1567, rel=4e-4)
    # steel 20 on iron 25: the iron's cone is split at the middle of the grip, 22.5 mm deep
    k = member_stiffness([(20, 207e3), (25, 96e3)], hole_mm=10, seat_mm=15)
    assert k / 1e3 == pytest.approx(1057, rel=1e-3)


def test_equal_members():
    # Shigley Eq. 8-22, D = 1.5 d: 0.5774 pi E d / (2 ln(5 (0.5774 l + 0.5 d)/(0.5774 l + 2.5 d)))
    closed = 0.5774 * math.pi * 207e3 * 10 / (2 * math.log(5 * (0.5774 * 45 + 5) / (0.5774 * 45 + 25)))
    k = member_stiffness([(22.5, 207e3), (22.5, 207e3)], hole_mm=10, seat_mm=15)
    assert k / 1e3 == pytest.approx(1689, rel=5e-4)
    assert k == pytest.approx(closed, rel=2e-4)
    assert k == pytest.approx(member_stiffness([(10, 207e3), (35, 207e3)], hole_mm=10, seat_mm=15), rel=1e-9)


def test_cone_refuses_a_seat_smaller_than_its_hole():
    with pytest.raises(ShellgenError, match="Use a larger washer"):
        frustum_stiffness(modulus_mpa=1000, hole_mm=10, seat_mm=9, thickness_mm=5)


def test_bolt_stiffness_and_share():
    # A E / l by hand: 20 mm2, 200 GPa, 40 mm -> 1e5 N/mm; beside members of 3e5 the bolt feels a quarter
    assert bolt_stiffness(stress_area_mm2=20, length_mm=40, modulus_mpa=200e3) == pytest.approx(1e5)
    assert load_share(1e5, 3e5) == pytest.approx(0.25)


def test_beams_of_one_span():  # any beam table: b 30, h 8, E 7000, q 1, L 120
    inertia = stacked_mm4([(30, 8, 0)])
    assert inertia == pytest.approx(1280)
    clamped = beam.clamped_span_mm(load_n_per_mm=1, span_mm=120, bending_nmm2=7000 * inertia)
    supported = beam.supported_span_mm(load_n_per_mm=1, span_mm=120, bending_nmm2=7000 * inertia)
    assert clamped == pytest.approx(0.06027, abs=5e-6)
    assert supported == pytest.approx(0.30134, abs=5e-6)


def test_stacked_sections():
    # two equal halves are the whole: 30 x 4 on 30 x 4 = 30 x 8; T of 30 x 10 with a 10 x 20 web by hand:
    # areas 300, 200; centroid (300*5 + 200*20)/500 = 11; I = 2500 + 300*36 + 6666.67 + 200*81 = 36166.67
    assert stacked_mm4([(30, 4, 0), (30, 4, 4)]) == pytest.approx(1280)
    assert stacked_mm4([(30, 10, 0), (10, 20, 10)]) == pytest.approx(36166.667, abs=1e-3)


def test_rail_on_ballast():
    # worked example: E 200e3, I 36.9e6, k 14, P 170e3: lam 0.000830, y 5.04, lift-off 3 pi/(4 lam) = 2839 mm
    bending = 200e3 * 36.9e6
    assert beam.foundation_decay_per_mm(foundation_mpa=14, bending_nmm2=bending) == pytest.approx(0.000830, abs=5e-7)
    centre = beam.foundation_deflection_mm(0, force_n=170e3, foundation_mpa=14, bending_nmm2=bending)
    assert centre == pytest.approx(5.04, abs=5e-3)
    assert beam.lift_off_mm(foundation_mpa=14, bending_nmm2=bending) == pytest.approx(2839, abs=0.5)
    at_zero = beam.foundation_deflection_mm(2839, force_n=170e3, foundation_mpa=14, bending_nmm2=bending)
    assert abs(at_zero) < 1e-3 * centre
    three = sum(
        beam.foundation_deflection_mm(x, force_n=170e3, foundation_mpa=14, bending_nmm2=bending)
        for x in (-1700, 0, 1700)
    )
    assert three == pytest.approx(7.86, abs=5e-3)


def test_flange_on_rubber():  # b 30, h 8, E 7000, k = 3, P 500: lam 0.017009, y0 1.417, zero at 138.5
    bending = 7000 * 1280
    assert beam.foundation_decay_per_mm(foundation_mpa=3, bending_nmm2=bending) == pytest.approx(0.017009, abs=5e-7)
    y0 = beam.foundation_deflection_mm(0, force_n=500, foundation_mpa=3, bending_nmm2=bending)
    assert y0 == pytest.approx(1.417, abs=5e-4)
    assert beam.lift_off_mm(foundation_mpa=3, bending_nmm2=bending) == pytest.approx(138.5, abs=0.05)


def test_bonded_rubber_strip():  # Gent and Lindley: 4/3 E (1 + S^2), S = b/(2t); b 30, t 10: 4.333 E
    assert Layer(30, 10, 1.0).stiffness_mpa() == pytest.approx(4.3333 * 30 / 10, rel=1e-4)


def test_head_and_lift_of_a_liquid():
    assert head_pressure_mpa(1.05, 1000) == pytest.approx(0.01030, abs=5e-6)  # rho g h
    pressure = head_pressure_mpa(1.1, 300)
    assert pressure == pytest.approx(0.003236, abs=5e-7)
    assert pressure * 200 * 300 == pytest.approx(194.2, abs=0.05)
    assert buoyancy_n(14.13717e6, 1.05) == pytest.approx(145.6, abs=0.05)


def test_line_load_takes_the_worse_pose_by_hand():
    # upright 0.01 MPa on 10 000 mm2 = 100 N; level 20 kg = 196.133 N; squeeze 1 MPa * 0.2/10 = 0.02 MPa = 200 N; 500 mm
    squeezed = squeeze_mpa(modulus_mpa=1, squeeze_mm=0.2, thickness_mm=10)
    level = JointLoads(0.01, squeezed, weight_n(20000), 1e4, 500)
    assert level.line_load_n_per_mm == pytest.approx((196.133 + 200) / 500, rel=1e-9)
    upright = JointLoads(0.01, squeezed, weight_n(2000), 1e4, 500)
    assert upright.line_load_n_per_mm == pytest.approx((100 + 200) / 500, rel=1e-9)
    with pytest.raises(ShellgenError, match="seam's length 0 mm must be above zero"):
        JointLoads(1, 0, 0, 1, 0)
    with pytest.raises(ShellgenError, match="pressure_mpa = -1 must be zero or more"):
        JointLoads(-1, 0, 0, 1, 10)


def test_handbook_bands():
    # 3 d to 6 d: M6 18-36, M8 24-48, M10 30-60; studs 19 to 28.5 sqrt(d): d = 8 gives 53.7 to 80.6
    for size, low, high in (("M6", 18, 36), ("M8", 24, 48), ("M10", 30, 60)):
        assert (bands(bolt(size))[0].low_mm, bands(bolt(size))[0].high_mm) == (low, high)
    stud = bands(bolt("M8"))[2]
    assert (stud.low_mm, stud.high_mm) == (pytest.approx(53.7, abs=0.05), pytest.approx(80.6, abs=0.05))
    assert (bands(bolt("M8"))[1].low_mm, bands(bolt("M8"))[1].high_mm) == (40, 80)
    # a circle of 300 mm with M8 wants 20 to 39 bolts by the first rule; 20 stand 5.890 diameters apart
    circle = math.pi * 300
    assert math.ceil(circle / bands(bolt("M8"))[0].high_mm) == 20
    assert math.floor(circle / bands(bolt("M8"))[0].low_mm) == 39
    assert circle / 20 / 8 == pytest.approx(5.890, abs=5e-4)
