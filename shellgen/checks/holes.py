"""As many through holes as the design has, counted from the topology of the solid."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench
from shellgen.checks.finding import Finding
from shellgen.mold.mold import Part

TITLE = "through holes as designed"


def check(bench: Bench) -> Finding:
    """Genus of each part by Euler's formula, V − E + F = 2 − 2 · genus, against the design's count of holes."""
    faults, found, designed = [], 0, 0
    for part in bench.mold.parts:
        if part.genus is None:
            continue
        genus = genus_of(part)
        found, designed = found + genus, designed + part.genus
        if genus != part.genus:
            faults.append(f"{part.name} has {genus} through holes, designed are {part.genus}")
    says = "; ".join(faults) or f"all {designed} through holes are there, and no other"
    return Finding("holes", TITLE, "fail" if faults else "pass", found, designed, "holes", says)


def genus_of(part: Part) -> int:
    """Through holes of a part of one body."""
    used = len(np.unique(part.faces))
    return (2 - (used - len(part.faces) // 2)) // 2
