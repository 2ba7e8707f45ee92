"""Each piece leaves along its pull without meeting the rubber or a neighbour."""

from __future__ import annotations

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding

TITLE = "each piece draws along its pull"
LIMIT_MM3 = 5.0


def check(bench: Bench) -> Finding:
    """Taken apart in reverse order of assembly, each piece is swept along its pull, however far (see `sweep.py`)."""
    faults, worst = [], 0.0
    order = [name for name in bench.mold.design.assembly if name in bench.parts]
    missing = [part.name for part in bench.rigid if part.kind != "spacer" and part.name not in order]
    if missing:
        faults.append(f"the order of assembly leaves out {', '.join(missing)}")
    faults += [f"{name} is rigid and has no pull" for name in order if bench.parts[name].pull is None]
    for sweep in bench.sweeps:
        worst = max(worst, sweep.in_the_way_mm3)
        if sweep.in_the_way_mm3 > LIMIT_MM3:
            faults.append(
                f"{sweep.piece} meets {sweep.other} when drawn, {sweep.in_the_way_mm3:.0f} mm³ in all, "
                f"at {place(sweep.where)} {sweep.deepest_mm:.1f} mm deep"
            )
    says = "; ".join(faults) or f"{', '.join(reversed(order))} leave one after the other and meet nothing"
    return Finding("draws", TITLE, "fail" if faults else "pass", worst, LIMIT_MM3, "mm³", says)
