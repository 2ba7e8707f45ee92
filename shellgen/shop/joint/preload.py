"""Preload of a bolt from hand torque, and what it presses on. N, mm, MPa; torque in N m."""

from __future__ import annotations

import math

from shellgen.errors import DesignError
from shellgen.standards.fasteners import BoltData
from shellgen.standards.figures import figure


def preload_n(torque_nm: float, diameter_mm: float, factor: float = 0.2) -> float:
    """F = T / (K d): preload [N] of a bolt of `diameter_mm` tightened to `torque_nm`.

    K = 0.2 where the state of the thread is unknown (Shigley and Mischke 5th ed. ch. 8-8).
    """
    return torque_nm * 1000.0 / (factor * diameter_mm)


def torque_nm(force_n: float, diameter_mm: float, factor: float = 0.2) -> float:
    """T = K F d: torque [N m] that gives the preload `force_n` [N]."""
    return factor * force_n * diameter_mm / 1000.0


def proof_preload_n(bolt: BoltData, grade: str | None = None) -> float:
    """Preload allowed by the bolt itself [N]: 0.75 of its proof load (Shigley 9th ed. Eq. 8-31).

    grade : strength grade, the weakest of the size's system by default.
    Raises DesignError for a grade that the size does not come in.
    """
    name = grade or bolt.grades[0]
    if name not in bolt.proof_mpa:
        raise DesignError(f"bolt grade '{name}' is not tabulated for {bolt.size}. Use one of {', '.join(bolt.grades)}.")
    return figure("preload of proof") * bolt.proof_mpa[name] * bolt.stress_area_mm2


def ring_area_mm2(outer_mm: float, inner_mm: float) -> float:
    """Area between two circles given by their diameters [mm2]."""
    return math.pi / 4.0 * (outer_mm**2 - inner_mm**2)


def hex_area_mm2(across_flats_mm: float, inner_mm: float) -> float:
    """Area of a hexagon with a round hole [mm2]: what a nut bears on in a pocket."""
    return math.sqrt(3.0) / 2.0 * across_flats_mm**2 - math.pi / 4.0 * inner_mm**2


def largest_torque_nm(
    *, area_mm2: float, bearing_mpa: float, bolt: BoltData, factor: float = 0.2, grade: str | None = None
) -> float:
    """Greatest torque [N m] that neither crushes the flange under `area_mm2` nor passes the bolt's own limit.

    bearing_mpa : stress the flange bears under a washer.
    """
    force = min(area_mm2 * bearing_mpa, proof_preload_n(bolt, grade))
    return torque_nm(force, bolt.d_mm, factor)
