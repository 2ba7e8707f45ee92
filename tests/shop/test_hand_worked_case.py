"""The case that shellgen/shop/joint/worked-case.md works by hand: each figure of the page, from the tool."""

from __future__ import annotations

import pytest

from shellgen.shop.joint.closed_forms import clamped_span_mm, foundation_decay_per_mm, supported_span_mm
from shellgen.shop.joint.loads import JointLoads, head_pressure_mpa
from shellgen.shop.joint.pitch import row_opening_mm
from shellgen.shop.joint.report import assess
from shellgen.shop.joint.seam import SeamLine
from shellgen.shop.joint.section import Flange, JointSection
from shellgen.standards.fasteners import bolt


def test_every_figure_of_the_page():
    flange = Flange(width_mm=16, thickness_mm=8, wall_mm=6, modulus_mpa=1600, bearing_mpa=10)
    section = JointSection(flange, flange, bolt_line_mm=22 - 8.5)
    pressure = head_pressure_mpa(1.05, 489)
    assert pressure == pytest.approx(0.005035, abs=5e-7)
    loads = JointLoads(pressure, 0.0, 0.0, 53688, 1086)
    load = loads.line_load_n_per_mm
    assert load == pytest.approx(0.2489, abs=5e-5)
    report = assess(section, bolt("M6"), [SeamLine(("A", "B"), (57.0,) * 8, None)], loads)
    driven = report.tightened
    assert driven.preload_n == pytest.approx(788.9, abs=0.05)
    assert driven.torque_nm == pytest.approx(0.947, abs=5e-4)
    assert driven.kept_n == pytest.approx(394, abs=0.5)
    assert flange.along_mm4() == pytest.approx(938.7, abs=0.05)
    bending = section.bending_nmm2()
    assert bending == pytest.approx(750933, abs=0.5)
    assert section.foundation_mpa() == pytest.approx(2200)
    assert foundation_decay_per_mm(foundation_mpa=2200, bending_nmm2=bending) == pytest.approx(0.1645, abs=5e-5)
    assert section.prying == pytest.approx(2.235, abs=5e-4)
    assert load * 57 * section.prying == pytest.approx(31.7, abs=0.05)
    stiff = clamped_span_mm(load_n_per_mm=load, span_mm=45, bending_nmm2=bending)
    loose = supported_span_mm(load_n_per_mm=load, span_mm=57, bending_nmm2=bending)
    assert stiff == pytest.approx(0.0035, abs=5e-5)
    assert loose == pytest.approx(0.0456, abs=5e-5)
    opening = report.worst.opening_mm
    assert stiff < opening < loose
    assert opening == pytest.approx(0.013, abs=5e-4)
    assert opening == pytest.approx(row_opening_mm(57.0, section, driven.clamp, load), rel=1e-6)
    assert (384 * bending * 0.2 / load) ** 0.25 == pytest.approx(123, abs=0.5)
    assert report.pitch.pitch_mm == pytest.approx(126, abs=0.5)
