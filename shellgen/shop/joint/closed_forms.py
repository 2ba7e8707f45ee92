"""Beams whose deflection is known in closed form: hand checks beside the numeric joint. N, mm, MPa."""

from __future__ import annotations

import math


def clamped_span_mm(*, load_n_per_mm: float, span_mm: float, bending_nmm2: float) -> float:
    """Deflection midway in a span clamped at both ends under uniform load: q L^4 / (384 E I) (Roark Table 8.1)."""
    return load_n_per_mm * span_mm**4 / (384.0 * bending_nmm2)


def supported_span_mm(*, load_n_per_mm: float, span_mm: float, bending_nmm2: float) -> float:
    """Deflection midway in a simply supported span under uniform load: 5 q L^4 / (384 E I) (Roark Table 8.1)."""
    return 5.0 * clamped_span_mm(load_n_per_mm=load_n_per_mm, span_mm=span_mm, bending_nmm2=bending_nmm2)


def foundation_decay_per_mm(*, foundation_mpa: float, bending_nmm2: float) -> float:
    """Hetenyi's lambda = (k / 4 E I)^(1/4) [1/mm]: a point load is felt over about pi / lambda."""
    return float((foundation_mpa / (4.0 * bending_nmm2)) ** 0.25)


def foundation_deflection_mm(x_mm: float, *, force_n: float, foundation_mpa: float, bending_nmm2: float) -> float:
    """Deflection at x of an infinite beam on an elastic foundation under a point load at 0 [mm] (Hetenyi 1946).

    y = P lam / (2 k) exp(-lam |x|) (cos lam |x| + sin lam |x|)
    """
    lam = foundation_decay_per_mm(foundation_mpa=foundation_mpa, bending_nmm2=bending_nmm2)
    a = lam * abs(x_mm)
    return force_n * lam / (2.0 * foundation_mpa) * math.exp(-a) * (math.cos(a) + math.sin(a))


def lift_off_mm(*, foundation_mpa: float, bending_nmm2: float) -> float:
    """Distance from a bolt at which a flange that can only be pressed stops being pressed: 3 pi / (4 lam) [mm]."""
    return 3.0 * math.pi / (4.0 * foundation_decay_per_mm(foundation_mpa=foundation_mpa, bending_nmm2=bending_nmm2))
