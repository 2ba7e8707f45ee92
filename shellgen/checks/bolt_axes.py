"""Both parts' holes lie on one axis, and the bolt passes."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench
from shellgen.checks.bolt_probe import Lump, Seat, met, named, off_axis, rod, seats_of
from shellgen.checks.finding import Finding
from shellgen.envelope.raster import FloatArray
from shellgen.standards.fasteners import bolt as bolt_data

TITLE = "bolt holes on one axis"
LIMIT_MM = 0.1
ROUND_MM = 0.2  # how far the hole's diameter may be off
SHANK_MM3 = 0.5
GAUGE = (0.25, 1.25)  # depth below the seat at which the hole is gauged, mm


def check(bench: Bench) -> Finding:
    """A disc set round each hole shows its middle and diameter; a rod of the bolt's diameter must pass free.

    The middles of both parts' holes (of one part's hole and the designed axis, where the bolt goes into the board)
    are compared square to the axis.
    """
    faults, worst = [], 0.0
    bolts = bench.mold.design.bolts
    middles: dict[int, list[FloatArray]] = {}
    seats = list(seats_of(bench))
    for part in sorted({seat.part for seat in seats}):
        here = [seat for seat in seats if seat.part == part]
        sizes = [disc_radius_mm(bench, seat) for seat in here]
        deep = [min(GAUGE[1], 0.3 * seat.length_mm) for seat in here]
        discs = [rod(s, GAUGE[0], d, r) for s, d, r in zip(here, deep, sizes, strict=True)]
        for seat, depth, lumps in zip(here, deep, met(bench, here, discs, part, inside=False), strict=True):
            hole = hole_of(seat, lumps)
            if hole is None:
                faults.append(f"{named(bolts[seat.bolt], seat.bolt)} finds no hole in {part}")
                continue
            middles.setdefault(seat.bolt, []).append(off_axis(seat, hole.centre)[0])
            diameter = 2.0 * float(np.sqrt(hole.volume / (np.pi * (depth - GAUGE[0]))))
            asked = bolts[seat.bolt].hole_mm
            if seat.kind != "insert" and abs(diameter - asked) > ROUND_MM:
                faults.append(
                    f"{named(bolts[seat.bolt], seat.bolt)}: hole of {diameter:.1f} mm in {part}, designed {asked:g}"
                )
        faults += _shanks(bench, here, part)
    for index, found in sorted(middles.items()):
        off = float(np.linalg.norm(found[0] - (found[1] if len(found) > 1 else 0.0)))
        worst = max(worst, off)
        if off > LIMIT_MM:
            faults.append(f"{named(bolts[index], index)}: holes {off:.2f} mm apart")
    says = "; ".join(faults[:6]) or f"{len(bolts)} bolts pass, their holes {worst:.3f} mm off at most"
    if len(faults) > 6:
        says += f"; and {len(faults) - 6} more"
    return Finding("bolt-axes", TITLE, "fail" if faults else "pass", worst, LIMIT_MM, "mm", says)


def disc_radius_mm(bench: Bench, seat: Seat) -> float:
    """Radius of a disc that reaches over the hole's rim all round."""
    bolt = bench.mold.design.bolts[seat.bolt]
    widest = bolt.hole_mm
    if seat.kind == "insert":
        insert = bolt_data(bolt.size).insert
        widest = insert.bore_mm if insert else 1.5 * bolt.hole_mm
    return widest / 2.0 + 1.0


def hole_of(seat: Seat, lumps: list[Lump]) -> Lump | None:
    """The void that holds the bolt's axis, or nearly."""
    near = [lump for lump in lumps if np.linalg.norm(off_axis(seat, lump.centre)) < 2.0 and lump.volume > 0.1]
    return max(near, key=lambda lump: lump.volume) if near else None


def _shanks(bench: Bench, here: list[Seat], part: str) -> list[str]:
    """What is in the way of the bolts' shanks in one part."""
    bolts = bench.mold.design.bolts
    rods = [rod(seat, 0.0, seat.length_mm, bolt_data(bolts[seat.bolt].size).d_mm / 2.0) for seat in here]
    faults = []
    for seat, lumps in zip(here, met(bench, here, rods, part, inside=True), strict=True):
        volume = sum(lump.volume for lump in lumps)
        if volume > SHANK_MM3:
            faults.append(f"{named(bolts[seat.bolt], seat.bolt)}: {volume:.1f} mm³ of {part} in its way")
    return faults
