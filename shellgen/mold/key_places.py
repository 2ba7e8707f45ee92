"""Places for jacket keys on one piece's rubber: looked for on a rough raster, tried, and weighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.draft import draft
from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.job.model import Settings
from shellgen.mold.jacket_keys import LEAST, dome_rim_mm, places, standing
from shellgen.mold.skins import SkinSpec, closed, lone_points, reach
from shellgen.parting.surface import Parting, PlanesParting

BELOW_MM = -1e4  # stands for "not in this cell" where the jacket lies below the parting
PLACES = ((False, False), (True, False), (True, True))  # steep, low over the board: what is taken next
SIZES = (1.0, 0.75, 0.55, 0.4)  # a small pattern has room for small keys only
TRIES = 4  # places for keys looked for again where some would not stand proud


@dataclass(frozen=True, slots=True, eq=False)
class FoundKeys:
    """Places (k, 3) of keys on the bare jacket, in the pull frame; their size; the rubber that they add."""

    at_mm: FloatArray
    rim_mm: float
    height_mm: float
    domes: Facets
    rubber_mm3: float


def in_cell(
    jacket: Envelope, parting: Parting, level_mm: float, side_mm: float | None = None
) -> tuple[Envelope, float]:
    """A jacket with what lies less than level_mm above its parting sunk away, and the height that tells it apart.

    side_mm : how near to a side of the cell it is sunk away too; left out, as near as over the parting.
    """
    if parting.flat:
        return jacket, level_mm
    x, y = np.meshgrid(jacket.grid.x_mm, jacket.grid.y_mm)
    inside = jacket.heights_mm > parting.at(x, y) + level_mm
    if isinstance(parting, PlanesParting):
        inside &= parting.within(x, y, level_mm if side_mm is None else side_mm)
    return jacket.with_heights(np.where(inside, jacket.heights_mm, BELOW_MM)), 0.5 * BELOW_MM


def proud_of(settings: Settings, spec: SkinSpec) -> float:
    """Height of the largest jacket key; 0 without keys."""
    return min(float(settings.jacket.key_height_mm or 3.0), 0.6 * spec.jacket_mm) if settings.jacket.keys else 0.0


def rough_jacket(raw_mm: FloatArray, grid: Grid, spec: SkinSpec, every: int = 2) -> tuple[Envelope, FloatArray]:
    """A jacket on a raster of a multiple of the pitch, to look for places on, and what it reaches there, drafted.

    raw_mm : what the jacket reaches on `grid`.
    """
    drafted = draft(raw_mm, spec.pitch_mm, spec.draft_deg, spec.floor_mm)
    few = np.ascontiguousarray(drafted[::every, ::every])
    coarse = Grid(grid.x0_mm, grid.y0_mm, every * grid.pitch_mm, *few.shape)
    return closed(few, coarse, spec.jacket_mm, spec), few


def find_keys(
    first: Envelope,
    bare_raw: FloatArray,
    parting: Parting,
    spec: SkinSpec,
    settings: Settings,
    on_board: bool,
    keep_off: tuple[tuple[float, float, float], ...],
) -> FoundKeys:
    """Keys of the largest size of which enough stand proud.

    first, bare_raw : the rough jacket and what it reaches. keep_off : (x, y, radius) of a port.
    """
    seen, least = in_cell(first, parting, 0.5 * spec.jacket_mm)
    proud_mm = proud_of(settings, spec)

    def raised(at_mm: FloatArray, height_mm: float) -> Envelope:
        domes = lone_points(at_mm + np.array([0.0, 0.0, height_mm - spec.jacket_mm]))
        raw = np.maximum(bare_raw, reach(domes, first.grid, spec.jacket_mm, spec))
        return closed(raw, first.grid, spec.jacket_mm, spec)

    best = (np.zeros((0, 3)), 0.0, 0.0)
    for smaller, steep, low in ((s, *how) for how in PLACES for s in SIZES):
        height = smaller * proud_mm
        rim = dome_rim_mm(spec.jacket_mm, height)
        found = np.zeros((0, 3))
        foot = dome_rim_mm(spec.inside_mm + spec.crevice_mm, height)  # of the dome's fillet on the shell's inside
        taken = [(x, y, r + foot + 0.5) for x, y, r in keep_off]
        lowest = 0.6 * rim if low else spec.jacket_mm + spec.crevice_mm + 1.2 * rim
        for _ in range(TRIES):
            more = places(
                seen,
                rim_mm=rim,
                height_mm=height,
                steep=steep,
                spacing_mm=float(settings.jacket.key_spacing_mm or 60.0),
                least_height_mm=least,
                keep_off=tuple(taken),
                least_y_mm=lowest if on_board else -np.inf,
            )
            if not len(more):
                break
            stands = standing(raised(np.concatenate([found, more]), height), more, rim_mm=rim, height_mm=height)
            taken += [
                (float(x), float(y), 2.2 * rim if ok else rim) for (x, y, _), ok in zip(more, stands, strict=True)
            ]
            found = np.concatenate([found, more[stands]])
            if len(found) >= LEAST:
                break
        if len(found) > len(best[0]) or best[1] == 0.0:
            best = (found, rim, height)
        if len(found) >= LEAST:
            break
    found, rim, height = best
    rubber = _added_mm3(first, raised(found, height), parting, on_board)
    domes = lone_points(found + np.array([0.0, 0.0, height - spec.jacket_mm]))
    return FoundKeys(found, rim, height, domes, rubber)


def _added_mm3(bare: Envelope, raised: Envelope, parting: Parting, on_board: bool) -> float:
    """Volume between two jackets on one raster, above their parting and above the board."""
    grid = bare.grid
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    low = np.minimum(parting.at(x, y), -BELOW_MM)
    gained = np.maximum(raised.heights_mm, low) - np.maximum(bare.heights_mm, low)
    return float(np.where(y > 0, gained, 0.0).sum() if on_board else gained.sum()) * grid.pitch_mm**2
