"""Vents of a poured jacket: the high spots where rubber would trap air, and the air that no vent lets out.

Rubber rises in the gap between pattern and shell; air gathers under every local height of the gap's ceiling. A height
counts by its persistence: how far it stands above the pass to a higher one. Heights under the shell get a vent, the
highest of all is the pour; heights under the pattern itself no vent reaches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.gap_runs import Runs, raster_over, runs_of
from shellgen.parting.merge_tree import merge_tree
from shellgen.parting.offset_body import IntArray

KEEP_MM = 2.0
Point = tuple[float, float, float]
Mesh = tuple[FloatArray, IntArray]


@dataclass(frozen=True, slots=True)
class HighSpot:
    """A local height and how far it stands above the pass to a higher one (the highest of all: above the lowest)."""

    at_mm: Point
    persistence_mm: float


@dataclass(frozen=True, slots=True)
class AirTrap:
    """Air that stays in the gap: its highest place, its depth to where the rubber seals it, its volume, its ceiling."""

    at_mm: Point
    depth_mm: float
    volume_mm3: float
    under: Literal["shell", "pattern"]


@dataclass(frozen=True, slots=True)
class Vent:
    """A vent under the shell: where, and the air [mm³] that would stay if it were left out."""

    at_mm: Point
    air_mm3: float


@dataclass(frozen=True, slots=True, eq=False)
class Gap:
    """The gap and the pattern as runs over one raster, in the pour position."""

    runs: Runs
    pattern: Runs


@dataclass(frozen=True, slots=True)
class Filling:
    """How a gap fills. traps : air that stays, largest first. never_filled : tops of parts no rubber reaches."""

    traps: tuple[AirTrap, ...]
    never_filled: tuple[Point, ...]


def _point(place: FloatArray) -> Point:
    return float(place[0]), float(place[1]), float(place[2])


def _merged(spots: list[HighSpot], merge_mm: float) -> tuple[HighSpot, ...]:
    """Highest first, without those within `merge_mm` of a higher one."""
    kept: list[HighSpot] = []
    for spot in sorted(spots, key=lambda s: (-s.at_mm[2], s.at_mm)):
        if all(np.hypot(spot.at_mm[0] - k.at_mm[0], spot.at_mm[1] - k.at_mm[1]) > merge_mm for k in kept):
            kept.append(spot)
    return tuple(kept)


def look_into(gap: Mesh, pattern: Mesh, *, pitch_mm: float) -> Gap:
    """Gap and pattern over one raster.

    gap, pattern : closed meshes with outward normals ((n, 3), (m, 3)), z up in the pour position: the rubber as it
    should become, and what it is poured round.
    """
    grid = raster_over(gap[0], pitch_mm)
    return Gap(runs_of(*gap, grid), runs_of(*pattern, grid))


def _nearest_run(runs: Runs, place: Sequence[float]) -> int:
    grid = runs.grid
    x = grid.x_mm[runs.node % grid.columns] - place[0]
    y = grid.y_mm[runs.node // grid.columns] - place[1]
    return int(np.argmin(x * x + y * y + (runs.top_mm - place[2]) ** 2))


def _air_above(runs: Runs, top: int, level_mm: float) -> float:
    """Volume [mm³] of the part of the gap round run `top` above a level."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    passes = runs.level_mm > level_mm
    first, second = runs.first[passes], runs.second[passes]
    count = len(runs.top_mm)
    graph = coo_array((np.ones(len(first), np.int8), (first, second)), shape=(count, count))
    part = connected_components(graph, directed=False)[1]
    inside = part == part[top]
    heights = runs.top_mm[inside] - np.maximum(runs.bottom_mm[inside], level_mm)
    return float(np.maximum(heights, 0).sum()) * runs.grid.pitch_mm**2


def _ceiling(gap: Gap, run: int) -> Literal["shell", "pattern"]:
    above = gap.runs.place(run) + np.array([0, 0, gap.runs.grid.pitch_mm / 2])
    return "pattern" if gap.pattern.inside(above) else "shell"


def filling(gap: Gap, vents: Sequence[Point], *, keep_mm: float = KEEP_MM) -> Filling:
    """How the gap fills, given where air gets out.

    vents : places of the pour and of all vents. keep_mm : least depth of a trap.
    """
    runs = gap.runs
    vented = np.zeros(len(runs.top_mm), np.bool_)
    vented[[_nearest_run(runs, vent) for vent in vents]] = True
    tree = merge_tree(runs.top_mm, runs.first, runs.second, runs.level_mm, vented)
    traps = []
    for run in np.flatnonzero(runs.top_mm - tree.sealed_at >= keep_mm):
        place, level = runs.place(int(run)), float(tree.sealed_at[run])
        air = _air_above(runs, int(run), level)
        traps.append(AirTrap(_point(place), float(place[2] - level), air, _ceiling(gap, int(run))))
    dry = np.unique(tree.root[~tree.vented_root])
    never = tuple(_point(runs.place(int(run))) for run in dry)
    return Filling(tuple(sorted(traps, key=lambda t: -t.volume_mm3)), never)


def place_vents(gap: Gap, *, keep_mm: float = KEEP_MM, merge_mm: float = 0.0) -> tuple[Vent, ...]:
    """The pour, then the vents: every height of the gap that lies under the shell, highest first.

    keep_mm : least persistence. merge_mm : of two nearer than this in plan the lower is left out. The pour's own air
    is all that the gap holds. What stays trapped with these vents is told by `filling`.
    """
    runs = gap.runs
    tree = merge_tree(runs.top_mm, runs.first, runs.second, runs.level_mm)
    lowest = np.full(len(runs.top_mm), np.inf)
    np.minimum.at(lowest, tree.root, runs.bottom_mm)
    dies = np.where(np.isnan(tree.dies_at), lowest, tree.dies_at)
    found = [int(run) for run in np.flatnonzero(runs.top_mm - dies >= keep_mm) if _ceiling(gap, int(run)) == "shell"]
    spots = {_point(runs.place(run)): run for run in found}
    kept = _merged([HighSpot(place, float(runs.top_mm[run] - dies[run])) for place, run in spots.items()], merge_mm)
    return tuple(Vent(s.at_mm, _air_above(runs, spots[s.at_mm], float(dies[spots[s.at_mm]]))) for s in kept)
