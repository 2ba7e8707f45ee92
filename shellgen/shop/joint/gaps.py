"""The gaps of a seam: how far each opens between its bolts, and how hard its faces press. N, mm, MPa."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import trapezoid

from shellgen.shop.joint.seam import Clamp, SeamLine, SeamState, solve_seam
from shellgen.shop.joint.section import JointSection


@dataclass(frozen=True, slots=True)
class Gap:
    """One stretch of flange. kind "span" between two bolts, "end" beyond the last one.

    opening_mm : greatest opening at the wall. contact_mpa : mean pressure of the faces over the gap. closed : part of
    the gap's length in contact. bolt_n : greatest force in its bolts.
    """

    pair: tuple[str, str]
    kind: str
    span_mm: float
    opening_mm: float
    contact_mpa: float
    closed: float
    bolt_n: float


def gaps_of(line: SeamLine, section: JointSection, clamp: Clamp, load_n_per_mm: float) -> list[Gap]:
    """Opening and contact of each gap of one seam, in order along it, free ends included."""
    solved = solve_seam(line, section, clamp, load_n_per_mm)
    gaps = []
    for i, span in enumerate(line.spans_mm):
        force = max(solved.bolt_force_n[i], solved.bolt_force_n[(i + 1) % line.bolts])
        gaps.append(_gap(line, "span", span, solved, solved.span_nodes(i), force, section, clamp, load_n_per_mm))
    if line.ends_mm is None:
        return gaps
    first = np.arange(solved.bolt_nodes[0] + 1)
    last = np.arange(solved.bolt_nodes[-1], len(solved.at_mm))
    before, after = line.ends_mm
    forces = solved.bolt_force_n
    if before > 0:
        gaps.insert(0, _gap(line, "end", before, solved, first, forces[0], section, clamp, load_n_per_mm))
    if after > 0:
        gaps.append(_gap(line, "end", after, solved, last, forces[-1], section, clamp, load_n_per_mm))
    return gaps


def _gap(
    line: SeamLine,
    kind: str,
    length: float,
    solved: SeamState,
    nodes: NDArray[np.int64],
    force: float,
    section: JointSection,
    clamp: Clamp,
    load: float,
) -> Gap:
    at = solved.at_mm[nodes].copy()
    if len(at) > 1 and at[-1] < at[-2]:
        at[-1] = at[0] + length
    across = section.across_mm(line_load_n_per_mm=load, span_mm=length, seat_mm=clamp.seat_mm)
    contact = solved.contact_mpa[nodes]
    pressed = (contact > 0).astype(float)
    return Gap(
        pair=line.pair,
        kind=kind,
        span_mm=length,
        opening_mm=float(solved.opening_mm[nodes].max()) + across,
        contact_mpa=float(trapezoid(contact, at)) / length,
        closed=float(trapezoid(pressed, at)) / length,
        bolt_n=force,
    )
