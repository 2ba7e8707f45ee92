"""Each bolt's washer lies flat and free, and its hole is far enough from the edge."""

from __future__ import annotations

from shellgen.checks.bench import Bench
from shellgen.checks.bolt_axes import hole_of
from shellgen.checks.bolt_probe import Seat, met, named, reach_mm, rod, seats_of
from shellgen.checks.finding import Finding
from shellgen.standards.fasteners import bolt as bolt_data

SEAT_TITLE = "washers lie flat and free"
EDGE_TITLE = "bolt holes far enough from an edge"
LEAST_SHARE = 0.97
UNDER_MM = 0.4
FREE_MM3 = 1.0
REACH = 1.6  # how far round a bolt edges are looked for, in diameters


def check_seats(bench: Bench) -> Finding:
    """Under each washer (nut, in a pocket) there is flange, above it nothing.

    ISO 7089 washers; a pocket's floor is held against the nut's width across flats.
    """
    bolts, faults, worst = bench.mold.design.bolts, [], 1.0
    seats = [seat for seat in seats_of(bench) if seat.kind in ("washer", "pocket")]
    for part in sorted({seat.part for seat in seats}):
        here = [seat for seat in seats if seat.part == part]
        outer = [bearing_radius_mm(bench, seat) for seat in here]
        inner = [bolts[seat.bolt].hole_mm / 2.0 + 0.05 for seat in here]
        rings = [rod(s, 0.02, UNDER_MM, r) - rod(s, -1.0, 1.0, q) for s, r, q in zip(here, outer, inner, strict=True)]
        over = [rod(s, -2.0, -0.05, r - 0.05) for s, r in zip(here, outer, strict=True)]
        borne, blocked = met(bench, here, rings, part, inside=True), met(bench, here, over, part, inside=True)
        for seat, ring, under, above in zip(here, rings, borne, blocked, strict=True):
            share = sum(lump.volume for lump in under) / ring.volume()
            worst = min(worst, share)
            if share < LEAST_SHARE:
                faults.append(f"{named(bolts[seat.bolt], seat.bolt)}: {100 * share:.0f} % of its seat on {part}")
            if sum(lump.volume for lump in above) > FREE_MM3:
                faults.append(f"{named(bolts[seat.bolt], seat.bolt)}: {part} stands in the way of its washer")
    says = _joined(faults) or f"{len(seats)} seats bear on {100 * worst:.0f} % of their ring or more"
    return Finding("bolt-seats", SEAT_TITLE, "fail" if faults else "pass", 100 * worst, 100 * LEAST_SHARE, "%", says)


def check_edges(bench: Bench) -> Finding:
    """From each hole's middle to the nearest edge, hole or socket, just below the seat.

    At least the washer's radius, and the hole's diameter (common practice, no source).
    """
    bolts, faults = bench.mold.design.bolts, []
    worst: tuple[float, float, float] | None = None
    seats = list(seats_of(bench))
    for part in sorted({seat.part for seat in seats}):
        here = [seat for seat in seats if seat.part == part]
        reach = [REACH * max(bolts[s.bolt].hole_mm, bearing_radius_mm(bench, s)) for s in here]
        discs = [rod(s, 0.25, min(1.25, 0.3 * s.length_mm), r) for s, r in zip(here, reach, strict=True)]
        for seat, far, lumps in zip(here, reach, met(bench, here, discs, part, inside=False), strict=True):
            hole = hole_of(seat, lumps)
            limit = max(bearing_radius_mm(bench, seat), bolts[seat.bolt].hole_mm)
            edges = [reach_mm(seat, lump)[0] for lump in lumps if lump is not hole]
            if hole is not None and reach_mm(seat, hole)[1] > 0.9 * far:
                edges.append(0.0)  # the hole breaks out
            edge = min(edges, default=far)
            entry = (edge - limit, edge, limit)
            worst = entry if worst is None or entry[0] < worst[0] else worst
            if edge < limit:
                faults.append(
                    f"{named(bolts[seat.bolt], seat.bolt)}: {edge:.1f} mm to an edge of {part}, least {limit:g}"
                )
    _, value, limit = worst or (0.0, 0.0, 0.0)
    says = _joined(faults) or f"the nearest edge is {value:.1f} mm or more from a hole's middle"
    return Finding("bolt-edges", EDGE_TITLE, "fail" if faults else "pass", value, limit, "mm", says)


def bearing_radius_mm(bench: Bench, seat: Seat) -> float:
    """Radius of the washer, or within the nut's flats."""
    data = bolt_data(bench.mold.design.bolts[seat.bolt].size)
    return (data.nut_s_mm if seat.kind == "pocket" else data.washer.od_mm) / 2.0


def _joined(faults: list[str]) -> str:
    """The first few faults in one line."""
    more = f"; and {len(faults) - 5} more" if len(faults) > 5 else ""
    return "; ".join(faults[:5]) + more
