"""Search for cheap pulls: every direction of an even set at all offsets, then refined from its local minima."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting import cost
from shellgen.parting.columns import columns_along
from shellgen.parting.directions import Directions, angle_deg, canonical
from shellgen.parting.keep_clear import forbidden_offsets
from shellgen.parting.plane_cost import Workpiece, bed_tiles, reach_mm
from shellgen.parting.stepped import step_along

COARSE_NODES = 80
THREADS = 2
SEEDS = 6
FINEST_DEG = 0.5
PLAIN_SHARE = 2e-3  # of the body's volume: an axis may cost this much more than a crooked pull beside it
EDGE_SHARE = 0.02  # planes nearer to the pattern's end than this share of its extent part nothing off


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One pull at its best offset, on the coarse raster. tiles is 0 without a bed; basin: a minimum of its own."""

    normal: FloatArray
    offset_mm: float
    fill_mm3: float
    flange_length_mm: float
    draw_mm: float
    tiles: int
    clear: bool
    basin: bool = False


def look_along(work: Workpiece, normal: FloatArray, stepped: bool = False) -> Look:
    """Best offset of one pull and the figures that planes are picked by.

    stepped : the fill is that of a stepped parting about the best plane.
    """
    columns = columns_along(
        work.body, normal, draft_deg=work.draft_deg, on_board=work.on_board, nodes_along=COARSE_NODES
    )
    low, high = reach_mm(work, normal)
    edge = EDGE_SHARE * (high - low)
    forbidden = forbidden_offsets(work.patches, normal)
    best = cost.best_offset(columns, within_mm=(low + edge, high - edge), forbidden_mm=forbidden)
    draw = cost.draw_mm(columns, best.offset_mm)
    tiles = 0
    if work.bed_mm is not None:
        projected = cost.projected_mm(columns, work.flange_mm, on_board=work.on_board)
        tiles = bed_tiles(projected, draw + work.flange_mm / 2, work.bed_mm) or 0
    length = cost.flange_length_mm(columns, on_board=work.on_board)
    fill = best.fill_mm3
    if stepped:
        fill = step_along(columns, level_mm=best.offset_mm, slope=float(np.tan(np.radians(work.slope_deg)))).fill_mm3
    return Look(normal, best.offset_mm, fill, length, draw, tiles, best.clear)


def _dearness(look: Look) -> float:
    """Fill, with planes that cannot keep clear behind all that can."""
    return look.fill_mm3 if look.clear else look.fill_mm3 + 1e15


def search(work: Workpiece, directions: Directions, *, stepped: bool = False) -> tuple[Look, ...]:
    """Looks along all directions, in their order, and then the refined minima, cheapest first (`basin` is set).

    stepped : by what a stepped parting fills.
    """
    with ThreadPoolExecutor(THREADS) as pool:

        def look_all(normals: Sequence[FloatArray]) -> list[Look]:
            return list(pool.map(lambda normal: look_along(work, canonical(normal), stepped), normals))

        sampled = look_all(list(directions.normals))
        minima = directions.minima(np.array([_dearness(s) for s in sampled]))
        refined = _refined([sampled[m] for m in minima[:SEEDS]], directions, look_all)
    refined = [_plainest(look, sampled, directions.spacing_deg, work) for look in refined]
    distinct: list[Look] = []
    for look in sorted(refined, key=_dearness):
        if all(angle_deg(look.normal, d.normal) > directions.spacing_deg for d in distinct):
            distinct.append(look)
    return (*sampled, *distinct)


def _plainest(look: Look, sampled: Sequence[Look], spacing_deg: float, work: Workpiece) -> Look:
    """An axis of the mold frame near a refined pull that costs the same to a maker, else the pull itself."""
    limit = _dearness(look) + PLAIN_SHARE * work.body.volume_mm3
    for other in sampled:
        along_axis = float(np.abs(other.normal).max()) > 1 - 1e-12
        if along_axis and angle_deg(other.normal, look.normal) <= spacing_deg and _dearness(other) <= limit:
            return replace(other, basin=True)
    return look


def _refined(
    seeds: list[Look], directions: Directions, look_all: Callable[[Sequence[FloatArray]], list[Look]]
) -> list[Look]:
    """All seeds at once: each looks around, moves to the best neighbour or halves its step, down to half a degree.

    A seed stays within one and a half spacings of where it started, so that it does not run into another's basin.
    """
    here = list(seeds)
    steps = [directions.spacing_deg / 2] * len(seeds)
    while any(step >= FINEST_DEG for step in steps):
        active = [k for k, step in enumerate(steps) if step >= FINEST_DEG]
        rings = [directions.around(here[k].normal, steps[k]) for k in active]
        looks = iter(look_all([n for ring in rings for n in ring]))
        for k, ring in zip(active, rings, strict=True):
            around = [next(looks) for _ in ring]
            near = [a for a in around if angle_deg(a.normal, seeds[k].normal) <= 1.5 * directions.spacing_deg]
            best = min(near, key=_dearness, default=here[k])
            if _dearness(best) < _dearness(here[k]):
                here[k] = best
            else:
                steps[k] /= 2
    return [replace(look, basin=True) for look in here]
