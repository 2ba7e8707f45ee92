"""No two parts are in the same place."""

from __future__ import annotations

from itertools import combinations

from shellgen.checks.bench import Bench
from shellgen.checks.finding import Finding

TITLE = "no two parts overlap"
LIMIT_MM3 = 1.0  # faces that coincide at rest give up to 0.1 mm³ from rounding alone


def check(bench: Bench) -> Finding:
    """Volume common to each pair of parts, assembled."""
    faults, worst = [], 0.0
    for one, other in combinations((part.name for part in bench.mold.parts), 2):
        common = bench.solids[one] ^ bench.solids[other]
        volume = float(common.volume())
        worst = max(worst, volume)
        if volume > LIMIT_MM3:
            low, high = common.bounding_box()[:3], common.bounding_box()[3:]
            where = ", ".join(f"{(p + q) / 2:.1f}" for p, q in zip(low, high, strict=True))
            faults.append(f"{one} and {other} share {volume:.1f} mm³ about ({where})")
    says = "; ".join(faults) or f"the largest common volume of two parts is {worst:.2f} mm³"
    return Finding("overlap", TITLE, "fail" if faults else "pass", worst, LIMIT_MM3, "mm³", says)
