"""The rubber is nowhere thinner than asked, measured from the pattern."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding, Status
from shellgen.checks.surface import Surface, spread
from shellgen.envelope.raster import FloatArray

TITLE = "rubber at least as thick as asked"
SLACK_MM = 0.02  # digits of the triangles
WARN_MM = 0.1  # short by less than that is said, and does no harm
QUERIES = 25_000
REACH_MM = 6.0  # how far over the asked thickness the least one is looked for; less where it is thick everywhere


def check(bench: Bench) -> Finding:
    """Least distance from the pattern to each shell piece, and to the outside of the rubber.

    Looked for from both sides: from samples of the pattern and from samples of the surface that faces it. A gap in the
    rubber between the samples (about 1.5 mm apart) that is smaller than they are can be missed.
    """
    worst: tuple[float, float, str] | None = None
    for piece in bench.shells:
        asked = bench.asked(piece.name)[0]
        least, at = least_distance(bench.pattern, bench.surfaces[piece.name], asked + REACH_MM)
        entry = (least - asked, asked, f"{least:.2f} mm under {piece.name} at {place(at)}, asked {asked:g}")
        worst = entry if worst is None or entry[0] < worst[0] else worst
    if bench.jackets:
        asked = min([bench.asked(piece.name)[0] for piece in bench.shells], default=bench.asked("")[0])
        least, at = least_distance(bench.pattern, bench.jacket_outside, asked + REACH_MM)
        entry = (least - asked, asked, f"{least:.2f} mm to the outside of the rubber at {place(at)}, asked {asked:g}")
        worst = entry if worst is None or entry[0] < worst[0] else worst
    if worst is None or not bench.jackets:
        return Finding("rubber", TITLE, "fail", None, None, "mm", "there is no rubber to measure")
    status: Status = "pass" if worst[0] >= -SLACK_MM else "warn" if worst[0] >= -WARN_MM else "fail"
    return Finding("rubber", TITLE, status, worst[0] + worst[1], worst[1], "mm", f"least rubber is {worst[2]}")


def least_distance(one: Surface, other: Surface, within_mm: float) -> tuple[float, FloatArray]:
    """Least distance of two surfaces, and where on the first; infinite if there is none within the reach."""
    points, lengths, _ = other.least_distance(spread(one.samples, QUERIES), within_mm)
    _, back, feet = one.least_distance(spread(other.samples, QUERIES), within_mm)
    least, at = np.inf, np.zeros(3)
    for distances, places in ((lengths, points), (back, feet)):
        if len(distances) and distances.min() < least:
            least, at = float(distances.min()), places[int(distances.argmin())]
    return least, at
