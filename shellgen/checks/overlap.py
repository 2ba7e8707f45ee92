"""No two parts are in the same place."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding, Status

TITLE = "no two parts overlap"
LIMIT_MM3 = 1.0  # faces that coincide at rest give up to 0.1 mm³ from rounding alone
RUBBER_MM3, RUBBER_SIZE_MM = 5.0, 250.0  # rubber gives way to slivers of that much in all, but they are said; they lie
# along creases, so that rubber longer than the second figure may have more in proportion to its length


def check(bench: Bench) -> Finding:
    """Volume common to each pair of parts, assembled; spacers stand in the rubber's room, and are not held against it.

    Two parts of which one lies above the other on every line along a pull (see `sweep.py`) share about what crosses
    there, on lines 0.3 mm apart or more; where that is too much, and for all other pairs, the common solid is made.
    """
    crossed = {frozenset((s.piece, s.other)): s.crossed_mm3 for s in bench.sweeps}
    rubber = {part.name for part in bench.jackets}
    longest = max((float(np.ptp(part.vertices_mm, axis=0).max()) for part in bench.jackets), default=0.0)
    faults, notes, worst = [], [], 0.0
    spacers = {part.name for part in bench.mold.parts if part.kind == "spacer"}
    for one, other in combinations(bench.parts, 2):
        if {one, other} & rubber and {one, other} & spacers:
            continue
        limit = RUBBER_MM3 * max(1.0, longest / RUBBER_SIZE_MM) if {one, other} & rubber else LIMIT_MM3
        volume = crossed.get(frozenset((one, other)), np.inf)
        if volume > limit:
            common = bench.solid(one) ^ bench.solid(other)
            volume = float(common.volume())
            if volume > limit:
                low, high = np.reshape(common.bounding_box(), (2, 3))
                faults.append(f"{one} and {other} share {volume:.1f} mm³ about {place((low + high) / 2)}")
        if LIMIT_MM3 < volume <= limit:
            notes.append(f"{one} and {other} share slivers of {volume:.1f} mm³ in all")
        worst = max(worst, volume)
    says = "; ".join(faults + notes) or f"no two parts share more than {worst:.2f} mm³"
    status: Status = "fail" if faults else "warn" if notes else "pass"
    return Finding("overlap", TITLE, status, worst, LIMIT_MM3, "mm³", says)
