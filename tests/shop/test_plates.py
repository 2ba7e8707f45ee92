"""Plates and shells against worked figures: Timoshenko and Woinowsky-Krieger, Roark, Zoelly; small deflections."""

from __future__ import annotations

import pytest

from shellgen.shop import plates


def test_round_plates_of_two_sizes():
    # clamped and simply supported; second case repeats the handbook's own numbers (E 200 GPa, a 250, h 10, q 0.1 MPa)
    small = {"pressure_mpa": 0.01, "radius_mm": 100, "thickness_mm": 5, "modulus_mpa": 7000, "poisson": 0.3}
    assert plates.plate_rigidity_nmm(modulus_mpa=7000, thickness_mm=5, poisson=0.3) == pytest.approx(80128.2, abs=0.05)
    clamped, supported = plates.round_plate(**small, clamped=True), plates.round_plate(**small, clamped=False)
    assert clamped.deflection_mm == pytest.approx(0.1950, abs=5e-5)
    assert clamped.stress_mpa == pytest.approx(3.00, abs=5e-3)
    assert supported.deflection_mm == pytest.approx(0.7950, abs=5e-5)
    assert supported.stress_mpa == pytest.approx(4.95, abs=5e-3)
    assert supported.deflection_mm / clamped.deflection_mm == pytest.approx(4.0769, abs=5e-5)
    large = {"pressure_mpa": 0.1, "radius_mm": 250, "thickness_mm": 10, "modulus_mpa": 200e3, "poisson": 0.3}
    assert plates.round_plate(**large, clamped=True).deflection_mm == pytest.approx(0.33325, abs=5e-6)
    assert plates.round_plate(**large, clamped=True).stress_mpa == pytest.approx(46.875, abs=5e-4)
    assert plates.round_plate(**large, clamped=False).deflection_mm == pytest.approx(1.35864, abs=5e-6)
    assert plates.round_plate(**large, clamped=False).stress_mpa == pytest.approx(77.344, abs=5e-4)


def test_square_plates():  # Navier series and Ritz with 144 terms: a 200, h 5, E 7000, q 0.01
    case = {"pressure_mpa": 0.01, "side_mm": 200, "thickness_mm": 5, "modulus_mpa": 7000}
    supported, clamped = plates.square_plate_supported(**case), plates.square_plate_clamped(**case)
    assert supported.deflection_mm == pytest.approx(0.8112, abs=1e-4)
    assert supported.stress_mpa == pytest.approx(4.597, abs=1e-3)
    assert clamped.deflection_mm == pytest.approx(0.2527, abs=1e-4)
    assert clamped.stress_mpa == pytest.approx(4.928, abs=1e-3)


def test_thin_shells():
    assert plates.hoop_stress_mpa(pressure_mpa=0.01, radius_mm=200, thickness_mm=5) == pytest.approx(0.4)
    shell = {"radius_mm": 200, "thickness_mm": 5, "modulus_mpa": 7000, "poisson": 0.3}
    assert plates.ring_buckling_mpa(**shell) == pytest.approx(0.03005, abs=5e-6)  # Roark Table 35 case 19a
    assert plates.sphere_buckling_mpa(**shell) == pytest.approx(5.296, abs=5e-4)  # Zoelly 1915
