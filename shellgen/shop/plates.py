"""Thin plates and shells under liquid: lids, walls, rings. Small deflections (below half the thickness). N, mm, MPa."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlateBend:
    """Greatest deflection [mm] and bending stress [MPa] of a plate under uniform pressure."""

    deflection_mm: float
    stress_mpa: float


def plate_rigidity_nmm(*, modulus_mpa: float, thickness_mm: float, poisson: float) -> float:
    """D = E h^3 / (12 (1 - nu^2)) [N mm]."""
    return modulus_mpa * thickness_mm**3 / (12.0 * (1.0 - poisson**2))


def round_plate(
    *, pressure_mpa: float, radius_mm: float, thickness_mm: float, modulus_mpa: float, poisson: float, clamped: bool
) -> PlateBend:
    """A round plate under uniform pressure (Timoshenko and Woinowsky-Krieger, 2nd ed., art. 16).

    Clamped: q a^4 / 64 D, edge stress 3/4 q a^2/h^2. Supported: (5 + nu)/(1 + nu) as much, centre stress
    3 (3 + nu)/8 q a^2/h^2.
    """
    rigidity = plate_rigidity_nmm(modulus_mpa=modulus_mpa, thickness_mm=thickness_mm, poisson=poisson)
    clamped_mm = pressure_mpa * radius_mm**4 / (64.0 * rigidity)
    scale = pressure_mpa * (radius_mm / thickness_mm) ** 2
    if clamped:
        return PlateBend(clamped_mm, 0.75 * scale)
    return PlateBend((5.0 + poisson) / (1.0 + poisson) * clamped_mm, 3.0 * (3.0 + poisson) / 8.0 * scale)


def square_plate_clamped(
    *, pressure_mpa: float, side_mm: float, thickness_mm: float, modulus_mpa: float, poisson: float = 0.3
) -> PlateBend:
    """A square plate clamped all round: w = 0.0012653 q a^4 / D, edge moment 0.05133 q a^2 (Ritz series)."""
    rigidity = plate_rigidity_nmm(modulus_mpa=modulus_mpa, thickness_mm=thickness_mm, poisson=poisson)
    moment = 0.05133 * pressure_mpa * side_mm**2
    return PlateBend(0.0012653 * pressure_mpa * side_mm**4 / rigidity, 6.0 * moment / thickness_mm**2)


def square_plate_supported(
    *, pressure_mpa: float, side_mm: float, thickness_mm: float, modulus_mpa: float, poisson: float = 0.3
) -> PlateBend:
    """A square plate simply supported: w = 0.004062 q a^4 / D, centre moment 0.04789 q a^2 (Navier series)."""
    rigidity = plate_rigidity_nmm(modulus_mpa=modulus_mpa, thickness_mm=thickness_mm, poisson=poisson)
    moment = 0.04789 * pressure_mpa * side_mm**2
    return PlateBend(0.004062 * pressure_mpa * side_mm**4 / rigidity, 6.0 * moment / thickness_mm**2)


def hoop_stress_mpa(*, pressure_mpa: float, radius_mm: float, thickness_mm: float) -> float:
    """Stress round a thin cylinder under inner pressure, p r / t [MPa]; a sphere has half of it."""
    return pressure_mpa * radius_mm / thickness_mm


def ring_buckling_mpa(*, radius_mm: float, thickness_mm: float, modulus_mpa: float, poisson: float) -> float:
    """Outer pressure [MPa] at which a long thin tube folds: E t^3 / (4 (1 - nu^2) r^3) (Roark Table 35 case 19a).

    Holds for r/t above 10; a shorter tube takes more.
    """
    return modulus_mpa * thickness_mm**3 / (4.0 * (1.0 - poisson**2) * radius_mm**3)


def sphere_buckling_mpa(*, radius_mm: float, thickness_mm: float, modulus_mpa: float, poisson: float) -> float:
    """Outer pressure [MPa] at which a perfect thin sphere buckles: 2 E t^2 / (r^2 sqrt(3 (1 - nu^2))) (Zoelly 1915).

    Real shells take about a fifth (common practice, no source).
    """
    return 2.0 * modulus_mpa * thickness_mm**2 / (radius_mm**2 * math.sqrt(3.0 * (1.0 - poisson**2)))
