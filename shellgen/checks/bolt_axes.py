"""Both parts' holes lie on one axis, and the bolt passes."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench
from shellgen.checks.bolt_probe import BOARD, named, told
from shellgen.checks.finding import Finding
from shellgen.envelope.raster import FloatArray

TITLE = "bolt holes on one axis"
LIMIT_MM = 0.1
ROUND_MM = 0.2  # how far the hole's diameter may be off
SHANK_MM3 = 0.5


def check(bench: Bench) -> Finding:
    """A disc set round each hole shows its middle and diameter; a rod of the bolt's diameter must pass free.

    The middles of both parts' holes (of one part's hole and the designed axis, where the bolt goes into the board)
    are compared square to the axis. The diameter of an insert's bore is not held against that of the hole.
    """
    bolts = bench.mold.design.bolts
    faults = [
        f"{named(bolt, i)} joins {name}, which is no part"
        for i, bolt in enumerate(bolts)
        for name in bolt.pair
        if name != BOARD and name not in bench.parts
    ]
    middles: dict[int, list[FloatArray]] = {}
    for probe in bench.probes:
        index, part = probe.seat.bolt, probe.seat.part
        says, asked = named(bolts[index], index), bolts[index].hole_mm
        if probe.shank_mm3 > SHANK_MM3:
            faults.append(f"{says}: {probe.shank_mm3:.1f} mm³ of {part} in its way")
        if probe.off_mm is None:
            faults.append(f"{says} finds no hole in {part}")
            continue
        middles.setdefault(index, []).append(probe.off_mm)
        if probe.seat.kind != "insert" and abs(probe.bore_mm - asked) > ROUND_MM:
            faults.append(f"{says}: hole of {probe.bore_mm:.1f} mm in {part}, designed {asked:g}")
    worst = 0.0
    for index, found in sorted(middles.items()):
        off = float(np.linalg.norm(found[0] - (found[1] if len(found) > 1 else 0.0)))
        worst = max(worst, off)
        if off > LIMIT_MM:
            faults.append(f"{named(bolts[index], index)}: holes {off:.2f} mm apart")
    says = told(faults) or f"{len(bolts)} bolts pass, their holes {worst:.3f} mm off at most"
    return Finding("bolt-axes", TITLE, "fail" if faults else "pass", worst, LIMIT_MM, "mm", says)
