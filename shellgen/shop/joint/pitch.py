"""The largest bolt pitch that keeps a long seam shut, and handbook bands to hold it against. N, mm, MPa."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy.optimize import brentq

from shellgen.errors import DesignError
from shellgen.shop.joint.seam import Clamp, SeamLine, solve_seam
from shellgen.shop.joint.section import JointSection
from shellgen.standards.fasteners import BoltData
from shellgen.standards.figures import figure

Governs = Literal["opening", "preload", "widest", "none"]


@dataclass(frozen=True, slots=True)
class Pitch:
    """A largest pitch and what sets it: the opening, the preload left after creep, or the widest that is laid out.

    governs "none" and pitch 0: no pitch holds. `says` is the reason in words.
    """

    pitch_mm: float
    governs: Governs
    says: str


@dataclass(frozen=True, slots=True)
class Band:
    """A rule of thumb for the pitch. `how` as in the tables: R read, M from memory, P common practice."""

    rule: str
    low_mm: float
    high_mm: float
    how: str


def row_opening_mm(pitch_mm: float, section: JointSection, clamp: Clamp, load_n_per_mm: float) -> float:
    """Greatest opening [mm] between bolts of an endless row at one pitch, at the wall."""
    line = SeamLine(("row", "row"), (pitch_mm,), None)
    solved = solve_seam(line, section, clamp, load_n_per_mm)
    across = section.across_mm(line_load_n_per_mm=load_n_per_mm, span_mm=pitch_mm, seat_mm=clamp.seat_mm)
    return float(solved.opening_mm.max()) + across


def least_pitch_mm(bolt: BoltData, seat_mm: float) -> float:
    """Smallest pitch [mm] at which a spanner turns and washers do not touch."""
    return max(bolt.spanner_pitch_mm, seat_mm + figure("washer edge"))


def largest_pitch(section: JointSection, bolt: BoltData, clamp: Clamp, load_n_per_mm: float, limit_mm: float) -> Pitch:
    """Largest pitch whose opening stays at or under `limit_mm` and whose bolts stay pressed against prying.

    clamp.preload_n : the preload left after creep. Raises DesignError for a limit that is not above zero.
    """
    if not limit_mm > 0:
        raise DesignError(f"flash limit {limit_mm:g} mm must be above zero. Use {figure('flash limit'):g}.")
    low, high = least_pitch_mm(bolt, clamp.seat_mm), figure("widest pitch")
    governs: Governs = "widest"
    if load_n_per_mm > 0:
        by_preload = clamp.preload_n / (load_n_per_mm * section.prying)
        if by_preload < high:
            high, governs = by_preload, "preload"
    if high < low:
        need = load_n_per_mm * section.prying * low
        return Pitch(
            0.0,
            "none",
            f"bolts {low:.0f} mm apart, as near as a spanner allows, would carry {need:.0f} N each with prying and "
            f"keep {clamp.preload_n:.0f} N. Use larger washers, a larger bolt or a wider flange.",
        )

    def excess(pitch: float) -> float:
        return row_opening_mm(pitch, section, clamp, load_n_per_mm) - limit_mm

    if excess(low) > 0:
        return Pitch(
            0.0,
            "none",
            f"the seam opens {excess(low) + limit_mm:.2f} mm with bolts {low:.0f} mm apart, as near as a spanner "
            f"allows; the limit is {limit_mm:g} mm. Use a thicker flange.",
        )
    if excess(high) <= 0:
        says = (
            f"wider than {high:.0f} mm the preload left after creep would not hold the prying"
            if governs == "preload"
            else f"no bolt line is laid out wider than {high:.0f} mm"
        )
        return Pitch(high, governs, says)
    pitch = float(brentq(excess, low, high, xtol=0.01))
    return Pitch(pitch, "opening", f"wider than {pitch:.0f} mm the seam opens more than {limit_mm:g} mm")


def bands(bolt: BoltData) -> tuple[Band, ...]:
    """Handbook bands for the pitch of one bolt size: not a proof, only something to hold a result against."""
    d = bolt.d_mm
    low, high = figure("pitch by diameter low"), figure("pitch by diameter high")
    wide_low, wide_high = figure("wide pitch low"), figure("wide pitch high")
    stud_low, stud_high = figure("stud pitch low"), figure("stud pitch high")
    root = math.sqrt(d)
    return (
        Band(f"{low:g} to {high:g} diameters (pressure gasket rule for a circle of bolts)", low * d, high * d, "M"),
        Band(f"{wide_low:g} to {wide_high:g} diameters (worked problem on flanges)", wide_low * d, wide_high * d, "R"),
        Band(
            f"{stud_low:g} to {stud_high:g} times the root of d (cylinder head studs)",
            stud_low * root,
            stud_high * root,
            "R",
        ),
    )
