"""All checks of a finished mold, in the order they are told."""

from __future__ import annotations

from collections.abc import Callable

from shellgen.checks import (
    bolt_axes,
    bolt_seats,
    bulges,
    closed,
    draws,
    fills,
    handling,
    holes,
    jacket_keys,
    one_way,
    overlap,
    rubber,
    wall,
)
from shellgen.checks.bench import Bench
from shellgen.checks.finding import Finding
from shellgen.mold.mold import Mold

CHECKS: tuple[Callable[[Bench], Finding], ...] = (
    closed.check,
    holes.check,
    overlap.check,
    draws.check,
    rubber.check,
    bulges.check,
    fills.check,
    wall.check,
    bolt_axes.check,
    bolt_seats.check_seats,
    bolt_seats.check_edges,
    one_way.check,
    jacket_keys.check,
    handling.check_bed,
    handling.check_lift,
)


def run_checks(mold: Mold) -> tuple[Finding, ...]:
    """Every check on a finished mold: pure, in a fixed order, the same mold gives the same findings.

    The first check says whether the parts are solids at all; if they are not, the others are not tried.
    """
    bench = Bench(mold)
    first = CHECKS[0](bench)
    if not all(closed.is_closed(part) for part in mold.parts):
        return (first,)
    return (first, *(check(bench) for check in CHECKS[1:]))
