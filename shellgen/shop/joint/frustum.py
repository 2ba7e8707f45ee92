"""Stiffness of clamped members by pressure cones, and of the bolt that clamps them. N/mm."""

from __future__ import annotations

import math
from collections.abc import Iterable

from shellgen.errors import DesignError


def frustum_stiffness(*, modulus_mpa: float, hole_mm: float, seat_mm: float, thickness_mm: float) -> float:
    """Stiffness [N/mm] of one 30 degree cone through a layer.

    k = 0.5774 pi E d / ln[((1.155 t + D - d)(D + d)) / ((1.155 t + D + d)(D - d))], Shigley 9th ed. Eq. 8-19 at 30
    degrees, d the hole, D the diameter at the narrow end. Raises DesignError unless D > d > 0 and t, E > 0.
    """
    d, big_d, t = hole_mm, seat_mm, thickness_mm
    if not (big_d > d > 0 and t > 0 and modulus_mpa > 0):
        raise DesignError(
            f"a pressure cone needs a seat ({big_d:g} mm) wider than its hole ({d:g} mm), a thickness ({t:g} mm) and "
            f"a modulus ({modulus_mpa:g} MPa) above zero. Use a larger washer or a thicker flange."
        )
    slope = 2.0 * math.tan(math.radians(30.0))
    grown = slope * t + big_d
    return (slope / 2.0) * math.pi * modulus_mpa * d / math.log((grown - d) * (big_d + d) / ((grown + d) * (big_d - d)))


def member_stiffness(layers: Iterable[tuple[float, float]], *, hole_mm: float, seat_mm: float) -> float:
    """Stiffness [N/mm] of a stack between two equal seats: cones grow from both ends and meet in the middle.

    layers : (thickness_mm, modulus_mpa) from one seat to the other.
    """
    stack = tuple(layers)
    grip = sum(t for t, _ in stack)
    compliance, start = 0.0, 0.0
    slope = 2.0 * math.tan(math.radians(30.0))
    for thickness, modulus in stack:
        end = start + thickness
        for near, far in _within_halves(start, end, grip):
            narrow = seat_mm + slope * near
            compliance += 1.0 / frustum_stiffness(
                modulus_mpa=modulus, hole_mm=hole_mm, seat_mm=narrow, thickness_mm=far - near
            )
        start = end
    return 1.0 / compliance


def bolt_stiffness(*, stress_area_mm2: float, length_mm: float, modulus_mpa: float) -> float:
    """Stiffness [N/mm] of a fully threaded bolt over its clamped length: A E / l."""
    return stress_area_mm2 * modulus_mpa / length_mm


def load_share(bolt_n_per_mm: float, member_n_per_mm: float) -> float:
    """Part of an outside load that the bolt feels while the joint stays closed: C = kb / (kb + km)."""
    return bolt_n_per_mm / (bolt_n_per_mm + member_n_per_mm)


def _within_halves(start: float, end: float, grip: float) -> list[tuple[float, float]]:
    """Pieces of [start, end] as depths (near, far) below the seat of their half."""
    middle = grip / 2.0
    pieces = []
    if start < middle:
        pieces.append((start, min(end, middle)))
    if end > middle:
        pieces.append((grip - end, grip - max(start, middle)))
    return [(near, far) for near, far in pieces if far - near > 1e-12]
