"""The numeric joint against beams known in closed form, and its order of convergence."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from shellgen.errors import ShellgenError
from shellgen.shop.joint.beam import BeamModel, solve
from shellgen.shop.joint.closed_forms import (
    clamped_span_mm,
    foundation_decay_per_mm,
    foundation_deflection_mm,
    lift_off_mm,
    supported_span_mm,
)
from shellgen.shop.joint.seam import Clamp, SeamLine, solve_seam
from shellgen.shop.joint.section import Flange, JointSection

RIGID = 1e12


def model(elements: int, length: float, *, bending: float, foundation: float = 0.0, ring: bool = False) -> BeamModel:
    return BeamModel(
        lengths_mm=np.full(elements, length / elements),
        ring=ring,
        bending_nmm2=bending,
        foundation_mpa=foundation,
        two_sided=True,
        load_n_per_mm=np.zeros(elements),
        bed_mpa=np.zeros(elements),
        forces_n={},
        springs_n_per_mm={},
    )


def test_one_span_on_two_supports():  # beam table: 5 q L^4 / (384 E I), M = q L^2 / 8; b 30, h 8, E 7000, q 1, L 120
    bending = 7000 * 1280
    case = replace(model(48, 120, bending=bending), load_n_per_mm=np.ones(48), springs_n_per_mm={0: RIGID, 48: RIGID})
    state = solve(case)
    wanted = supported_span_mm(load_n_per_mm=1, span_mm=120, bending_nmm2=bending)
    assert state.deflection_mm[24] == pytest.approx(wanted, rel=1e-6)
    assert abs(state.moment_nmm[24]) == pytest.approx(1800, rel=2e-3)


def test_ring_of_spans_is_clamped_by_symmetry():  # q L^4 / (384 E I); moments 1200 at the ends, 600 midway
    bending = 7000 * 1280
    spans, per = 5, 24
    case = replace(
        model(spans * per, spans * 120, bending=bending, ring=True),
        load_n_per_mm=np.ones(spans * per),
        springs_n_per_mm={i * per: RIGID for i in range(spans)},
    )
    state = solve(case)
    wanted = clamped_span_mm(load_n_per_mm=1, span_mm=120, bending_nmm2=bending)
    assert state.deflection_mm[12::24] == pytest.approx(np.full(spans, wanted), rel=1e-6)
    assert abs(state.moment_nmm[0]) == pytest.approx(1200, rel=5e-3)
    assert abs(state.moment_nmm[12]) == pytest.approx(600, rel=5e-3)


def test_ring_and_line_agree_where_the_ends_do_not_matter():
    bending, foundation = 7000 * 1280.0, 3.0
    line = replace(model(400, 2000, bending=bending, foundation=foundation), forces_n={200: -500.0})
    ring = replace(model(400, 2000, bending=bending, foundation=foundation, ring=True), forces_n={200: -500.0})
    assert solve(ring).deflection_mm[150:250] == pytest.approx(solve(line).deflection_mm[150:250], rel=1e-5, abs=1e-7)


@pytest.mark.parametrize(
    ("e", "i", "k", "p", "deflection", "moment"),
    [
        (200e3, 36.9e6, 14.0, 170e3, 5.04, 51.21e6),  # rail on ballast, worked example
        (72e3, 2.45e6, 0.1, 12e3, 36.81, 4.889e6),  # long beam on springs, infinite formula
        (7000, 1280, 3.0, 500, 1.417, 7349),  # flange on rubber, formula
    ],
)
def test_point_load_on_a_foundation(e, i, k, p, deflection, moment):
    lam = foundation_decay_per_mm(foundation_mpa=k, bending_nmm2=e * i)
    length = 16.0 / lam
    case = replace(model(640, length, bending=e * i, foundation=k), forces_n={320: p})
    state = solve(case)
    assert state.deflection_mm[320] == pytest.approx(deflection, rel=1e-3)
    assert abs(state.moment_nmm[320]) == pytest.approx(moment, rel=1e-2)
    x = np.arange(641) * length / 640 - length / 2
    exact = [foundation_deflection_mm(v, force_n=p, foundation_mpa=k, bending_nmm2=e * i) for v in x[160:481]]
    assert np.abs(state.deflection_mm[160:481] - exact).max() < 2e-5 * deflection


def test_three_wheels_on_a_rail():
    # same rail: 7.86 mm under the middle; moments 37.02 at the ends, 30.53 in the middle, least -14.01 kN m
    bending, length, n = 200e3 * 36.9e6, 20400.0, 1200
    case = replace(model(n, length, bending=bending, foundation=14.0), forces_n={500: 170e3, 600: 170e3, 700: 170e3})
    state = solve(case)
    assert state.deflection_mm[600] == pytest.approx(7.86, abs=5e-3)
    moment = -state.moment_nmm / 1e6
    assert moment[500] == pytest.approx(37.02, rel=5e-3)
    assert moment[600] == pytest.approx(30.53, rel=5e-3)
    assert moment.min() == pytest.approx(-14.01, rel=2e-3)


def test_order_of_convergence_on_a_foundation():
    """Cubic elements: the error of the deflection falls with the fourth power of the step."""
    bending, k, p = 7000 * 1280.0, 3.0, 500.0
    lam = foundation_decay_per_mm(foundation_mpa=k, bending_nmm2=bending)
    length = 24.0 / lam
    steps, errors = [], []
    for n in (24, 48, 96, 192):
        state = solve(replace(model(n, length, bending=bending, foundation=k), forces_n={n // 2: p}))
        x = np.arange(n + 1) * length / n - length / 2
        exact = [foundation_deflection_mm(v, force_n=p, foundation_mpa=k, bending_nmm2=bending) for v in x]
        steps.append(length / n)
        errors.append(np.abs(state.deflection_mm - exact)[n // 4 : 3 * n // 4 + 1].max())
    order = np.polyfit(np.log(steps), np.log(errors), 1)[0]
    assert 3.6 < order < 4.6


def joint(thickness: float = 8.0) -> JointSection:
    flange = Flange(20, thickness, 6, 1600, 10)
    return JointSection(flange, flange, 16)


def test_joint_converges_as_its_grid_is_refined():
    """With lift-off the contact's edge falls inside elements; the deflection still converges, order fitted."""
    line = SeamLine(("A", "B"), (64.0, 96.0, 64.0), (16.0, 24.0))
    clamp = Clamp(400.0, 2e5)

    def at_coarse_nodes(step: float) -> np.ndarray:
        state = solve_seam(line, joint(), clamp, 0.4, step_mm=step).state
        return state.deflection_mm[:: round(8 / step)]

    fine = at_coarse_nodes(0.125)
    steps = [2.0, 1.0, 0.5]
    errors = [np.abs(at_coarse_nodes(step) - fine).max() for step in steps]
    order = np.polyfit(np.log(steps), np.log(errors), 1)[0]
    assert order > 1.8
    default = solve_seam(line, joint(), clamp, 0.4).opening_mm.max()
    assert default == pytest.approx(solve_seam(line, joint(), clamp, 0.4, step_mm=0.25).opening_mm.max(), rel=2e-3)


def test_one_bolt_lets_go_where_a_weightless_strip_does():
    """Weightless beam on a foundation that cannot pull, point load F: contact ends at pi / (2 lam), whatever F is.

    Within it y = sum of four products of (cos, sin) and (cosh, sinh) of lam x; level at 0, shear F/2 there, moment and
    shear zero at the edge.
    """
    section, force = joint(), 500.0
    solved = solve_seam(SeamLine(("A", "B"), (), (200.0, 200.0)), section, Clamp(force, 2e5), 0.0, step_mm=0.25)
    k, bending = section.foundation_mpa(), section.bending_nmm2()
    lam = foundation_decay_per_mm(foundation_mpa=k, bending_nmm2=bending)
    edge = math.pi / 2
    sin, cos, sinh, cosh = math.sin(edge), math.cos(edge), math.sinh(edge), math.cosh(edge)
    # unknowns multiply cos cosh, sin sinh, cos sinh, sin cosh; derivatives in units of lam
    rows = [
        [0, 0, 1, 1],
        [0, 0, -2, 2],
        [-2 * sin * sinh, 2 * cos * cosh, -2 * sin * cosh, 2 * cos * sinh],
        [
            -2 * (cos * sinh + sin * cosh),
            2 * (cos * sinh - sin * cosh),
            -2 * (cos * cosh + sin * sinh),
            2 * (cos * cosh - sin * sinh),
        ],
    ]
    c = np.linalg.solve(rows, [0, force / 2 / (bending * lam**3), 0, 0])
    assert c @ [cos * cosh, sin * sinh, cos * sinh, sin * cosh] == pytest.approx(0, abs=1e-9 * abs(c[0]))
    middle = solved.bolt_nodes[0]
    assert -solved.state.deflection_mm[middle] == pytest.approx(abs(c[0]), rel=2e-3)
    pressed = solved.at_mm[solved.contact_mpa > 0]
    assert (pressed.max() - pressed.min()) / 2 == pytest.approx(edge / lam, abs=0.3)
    assert edge / lam < lift_off_mm(foundation_mpa=k, bending_nmm2=bending)


def test_stiff_joint_tends_to_the_clamped_span():
    """Strong preload and a hard foundation hold the flange level at each bolt: q L^4 / (384 E I) of the pair."""
    section = joint()
    hard = replace(
        section,
        first=replace(section.first, modulus_mpa=1600),
        second=replace(section.second, modulus_mpa=1600),
    )
    load, span = 3.0, 160.0
    solved = solve_seam(SeamLine(("A", "B"), (span,) * 4, None), hard, Clamp(3000.0, 1e7), load)
    clamped = clamped_span_mm(load_n_per_mm=load, span_mm=span, bending_nmm2=hard.bending_nmm2())
    supported = supported_span_mm(load_n_per_mm=load, span_mm=span, bending_nmm2=hard.bending_nmm2())
    assert clamped < solved.opening_mm.max() < 1.25 * clamped
    assert solved.opening_mm.max() < supported


def test_pull_midway_between_level_supports():
    """F L^3 / (192 E I) for a clamped span (beam table), of the pair; thin, so that its bolts hold it level."""
    section, force, span = joint(3.0), 10.0, 150.0
    line, clamp = SeamLine(("A", "B"), (span,) * 5, None), Clamp(200.0, 1e7)
    pulled = solve_seam(line, section, clamp, 0.0, pulls_n={i: force for i in range(5)})
    opened = [float(pulled.opening_mm[pulled.span_nodes(i)].max()) for i in range(5)]
    clamped = force * span**3 / (192 * section.bending_nmm2())
    assert opened == pytest.approx([opened[0]] * 5, rel=1e-6)
    assert clamped < opened[0] < 1.1 * clamped
    one = solve_seam(SeamLine(("A", "B"), (span,) * 3, (20.0, 20.0)), section, clamp, 0.0, pulls_n={1: force})
    assert one.opening_mm.argmax() == one.span_nodes(1)[len(one.span_nodes(1)) // 2]
    assert clamped < one.opening_mm.max() < 1.1 * clamped


def test_forces_balance():
    """What the bolts pull is what the faces press and the load pushes."""
    section = joint()
    line = SeamLine(("A", "B"), (70.0, 90.0, 60.0), (20.0, 25.0))
    for seat in (0.0, 12.0):
        solved = solve_seam(line, section, Clamp(400.0, 2e5, seat), 0.4, step_mm=0.2)
        face = section.first.face_mm
        pressed = float(np.trapezoid(solved.contact_mpa * face, solved.at_mm))
        assert sum(solved.bolt_force_n) == pytest.approx(pressed + 0.4 * line.length_mm, rel=1e-3)


def test_driven_bolts_hold_their_preload_until_loaded():
    solved = solve_seam(SeamLine(("A", "B"), (60.0, 60.0), (20.0, 20.0)), joint(), Clamp(400.0, 2e5, 12.0), 0.0)
    assert solved.bolt_force_n == pytest.approx((400.0,) * 3, rel=1e-6)


def test_a_washer_spreads_its_force_and_lowers_the_peak():
    line = SeamLine(("A", "B"), (60.0,) * 3, None)
    point = solve_seam(line, joint(), Clamp(400.0, 2e5), 0.2)
    washer = solve_seam(line, joint(), Clamp(400.0, 2e5, 12.0), 0.2)
    assert washer.contact_mpa.max() < 0.9 * point.contact_mpa.max()
    assert washer.opening_mm.max() < point.opening_mm.max()


def test_mirrored_seam_gives_mirrored_gaps():
    there = SeamLine(("A", "B"), (50.0, 80.0, 65.0), (10.0, 30.0))
    back = SeamLine(("A", "B"), (65.0, 80.0, 50.0), (30.0, 10.0))
    clamp = Clamp(400.0, 2e5, 12.0)
    a, b = (solve_seam(line, joint(), clamp, 0.5) for line in (there, back))
    assert a.bolt_force_n == pytest.approx(b.bolt_force_n[::-1], rel=1e-9)
    assert a.opening_mm == pytest.approx(b.opening_mm[::-1], abs=1e-9)


def test_longest_gap_opens_most_and_a_thicker_flange_opens_less():
    line = SeamLine(("A", "B"), (60.0, 110.0, 60.0), (15.0, 15.0))
    clamp = Clamp(400.0, 2e5, 12.0)
    solved = solve_seam(line, joint(), clamp, 0.5)
    openings = [float(solved.opening_mm[solved.span_nodes(i)].max()) for i in range(3)]
    assert openings[1] > 2 * max(openings[0], openings[2])
    assert solve_seam(line, joint(12.0), clamp, 0.5).opening_mm.max() < 0.5 * max(openings)


def test_bad_seams_are_refused():
    with pytest.raises(ShellgenError, match=r"bolts 10\.0 mm apart, but their washers are 12 mm wide"):
        solve_seam(SeamLine(("A", "B"), (10.0, 40.0), (5.0, 5.0)), joint(), Clamp(400.0, 2e5, 12.0), 0.1)
    with pytest.raises(ShellgenError, match="spans must be above zero"):
        SeamLine(("A", "B"), (0.0, 40.0), (5.0, 5.0))
    with pytest.raises(ShellgenError, match="spans must be above zero"):
        SeamLine(("A", "B"), (40.0,), (-1.0, 5.0))
    with pytest.raises(ShellgenError, match="at least one bolt"):
        SeamLine(("A", "B"), (), None)
    with pytest.raises(ShellgenError, match="held by nothing"):
        solve(model(4, 40, bending=1.0))
