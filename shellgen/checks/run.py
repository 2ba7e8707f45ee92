"""All checks of a finished mold, in the order they are told."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

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

Check = Callable[[Bench], Finding]
CHECKS: tuple[Check, ...] = (
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
BY_DISTANCE: tuple[Check, ...] = (rubber.check, bulges.check, fills.check, wall.check, jacket_keys.check)


def run_checks(mold: Mold) -> tuple[Finding, ...]:
    """Every check on a finished mold: pure, in a fixed order, the same mold gives the same findings.

    The first check says whether the parts are closed at all; if they are not, the others are not tried. Those that
    measure distances run beside those that work on solids; the two share nothing costly.
    """
    bench = Bench(mold)
    first = closed.check(bench)
    if first.status == "fail" and not all(closed.is_closed(part) for part in mold.parts):
        return (first,)
    lanes = [[c for c in CHECKS[1:] if (c in BY_DISTANCE) == by_distance] for by_distance in (False, True)]
    with ThreadPoolExecutor(len(lanes)) as pool:
        done = pool.map(lambda lane: [(check, check(bench)) for check in lane], lanes)
        found = {check: finding for lane in done for check, finding in lane}
    return (first, *(found[check] for check in CHECKS[1:]))
