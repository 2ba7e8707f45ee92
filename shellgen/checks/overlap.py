"""No two parts are in the same place."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding

TITLE = "no two parts overlap"
LIMIT_MM3 = 1.0  # faces that coincide at rest give up to 0.1 mm³ from rounding alone


def check(bench: Bench) -> Finding:
    """Volume common to each pair of parts, assembled.

    Two parts of which one lies clear above the other on every line along a pull (see `sweep.py`) share no more than
    what crosses there; for all others the common solid is made.
    """
    crossed = {frozenset((s.piece, s.other)): s.crossed_mm3 for s in bench.sweeps}
    faults, worst = [], 0.0
    for one, other in combinations(bench.parts, 2):
        volume = crossed.get(frozenset((one, other)), np.inf)
        if volume > LIMIT_MM3:
            common = bench.solid(one) ^ bench.solid(other)
            volume = float(common.volume())
            if volume > LIMIT_MM3:
                low, high = np.reshape(common.bounding_box(), (2, 3))
                faults.append(f"{one} and {other} share {volume:.1f} mm³ about {place((low + high) / 2)}")
        worst = max(worst, volume)
    says = "; ".join(faults) or f"no two parts share more than {worst:.2f} mm³"
    return Finding("overlap", TITLE, "fail" if faults else "pass", worst, LIMIT_MM3, "mm³", says)
