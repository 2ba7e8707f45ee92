"""Each bolt's washer lies flat and free, and its hole is far enough from the edge."""

from __future__ import annotations

from shellgen.checks.bench import Bench
from shellgen.checks.bolt_probe import bearing_radius_mm, named, told
from shellgen.checks.finding import Finding

SEAT_TITLE = "washers lie flat and free"
EDGE_TITLE = "bolt holes far enough from an edge"
LEAST_SHARE = 0.97
FREE_MM3 = 1.0


def check_seats(bench: Bench) -> Finding:
    """Under each washer (nut, in a pocket) there is flange, above it nothing.

    ISO 7089 washers; a pocket's floor is held against the nut's width across flats.
    """
    bolts, faults, worst, count = bench.mold.design.bolts, [], 1.0, 0
    for probe in bench.probes:
        if probe.share is None:
            continue
        says, part = named(bolts[probe.seat.bolt], probe.seat.bolt), probe.seat.part
        worst, count = min(worst, probe.share), count + 1
        if probe.share < LEAST_SHARE:
            faults.append(f"{says}: {100 * probe.share:.0f} % of its seat on {part}")
        if probe.above_mm3 > FREE_MM3:
            faults.append(f"{says}: {part} stands in the way of its washer")
    says = told(faults) or f"{count} seats bear on {100 * worst:.0f} % of their ring or more"
    return Finding("bolt-seats", SEAT_TITLE, "fail" if faults else "pass", 100 * worst, 100 * LEAST_SHARE, "%", says)


def check_edges(bench: Bench) -> Finding:
    """From each hole's middle to the nearest edge, hole or socket, just below the seat.

    At least the washer's radius, and the hole's diameter (common practice, no source).
    """
    bolts, faults = bench.mold.design.bolts, []
    worst: tuple[float, float, float] | None = None
    for probe in bench.probes:
        bolt, part = bolts[probe.seat.bolt], probe.seat.part
        limit = max(bearing_radius_mm(bolt, probe.seat.kind), bolt.hole_mm)
        entry = (probe.edge_mm - limit, probe.edge_mm, limit)
        worst = entry if worst is None or entry[0] < worst[0] else worst
        if probe.edge_mm < limit:
            says = f"{probe.edge_mm:.1f} mm to an edge of {part}, least {limit:g}"
            faults.append(f"{named(bolt, probe.seat.bolt)}: {says}")
    if worst is None:
        return Finding("bolt-edges", EDGE_TITLE, "fail", None, None, "mm", "there are no bolts to measure at")
    says = told(faults) or f"the nearest edge is {worst[1]:.1f} mm or more from a hole's middle"
    return Finding("bolt-edges", EDGE_TITLE, "fail" if faults else "pass", worst[1], worst[2], "mm", says)
