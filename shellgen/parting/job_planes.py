"""Parting planes of a job: its settings and its pattern, ranked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypedDict

from shellgen.envelope.raster import FloatArray
from shellgen.job.model import Settings
from shellgen.parting.cells import wanted_plane
from shellgen.parting.keep_clear import Box, crossed, side_box, surface_in_box
from shellgen.parting.plane_cost import PlaneCost, Vector, cost_plane
from shellgen.parting.rank import Mount, Ranking, prepare, rank_planes, search_directions
from shellgen.parting.search import search
from shellgen.pattern.pattern import Pattern
from shellgen.standards.materials import material

RUBBER = "silicone"
SET_OUT = 0.25  # of the raster's pitch


def clear_boxes(settings: Settings, bounds_mm: FloatArray) -> tuple[Box, ...]:
    """The boxes of `parting.keep_clear` in the mold frame; a side stands for its outer fifth.

    bounds_mm : (2, 3) of the pattern.
    """
    return tuple(
        side_box(bounds_mm, place) if isinstance(place, str) else (place.low_mm, place.high_mm)
        for place in settings.parting.keep_clear
    )


def crossed_places(settings: Settings, pattern: Pattern, normal: FloatArray, offset_mm: float) -> tuple[int, ...]:
    """Numbers (from 1) of the places of `parting.keep_clear` that the seam on this plane of the mold frame crosses."""
    boxes = clear_boxes(settings, pattern.bounds_mm)
    patches = tuple(surface_in_box(pattern.vertices_mm, pattern.faces, box) for box in boxes)
    return crossed(patches, normal, offset_mm)


def rank_job(
    settings: Settings,
    pattern: Pattern,
    keep_clear: Sequence[Box] = (),
    recost: Callable[[PlaneCost], PlaneCost] | None = None,
) -> Ranking:
    """Rank the planes of a job.

    The rubber is taken a quarter of the raster's pitch thicker, by which the skins are set out on the average.

    settings : with defaults filled in. keep_clear : boxes in the mold frame that the seam should not cross, after
    those that the settings name. recost : costs the planes that are offered more exactly than the search does.
    """
    return rank_planes(
        pattern.vertices_mm,
        pattern.faces,
        **_figures(settings, pattern, keep_clear),
        stepped=settings.parting.follow == "silhouette",
        recost=recost,
    )


def quick_best(settings: Settings, pattern: Pattern, count: int = 60) -> tuple[FloatArray, float]:
    """Normal and offset of a good plane, the best along `count` directions: less thorough than `rank_job`."""
    work = prepare(pattern.vertices_mm, pattern.faces, **_figures(settings, pattern, ()))
    looks = search(work, search_directions(work, count), stepped=settings.parting.follow == "silhouette")
    best = min(looks, key=lambda look: look.fill_mm3)
    return best.normal, best.offset_mm


def cost_job(settings: Settings, pattern: Pattern) -> PlaneCost:
    """What the plane that a job asks for costs, "best" taken as the middle. settings : with defaults filled in.

    Raises DesignError if the plane misses the pattern, or leans on a board or stem.
    """
    work = prepare(pattern.vertices_mm, pattern.faces, **_figures(settings, pattern, ()))
    return cost_plane(work, *wanted_plane(settings.parting, pattern.bounds_mm, work.on_board))


class _Figures(TypedDict):
    """What the ranking takes from a job, by its own names."""

    thickness_mm: float
    mount: Mount
    volume_mm3: float | None
    draft_deg: float
    slope_deg: float
    density_g_cm3: float
    flange_mm: float
    bed_mm: Vector | None
    crevice_mm: float
    keep_clear: Sequence[Box]


def _figures(settings: Settings, pattern: Pattern, keep_clear: Sequence[Box]) -> _Figures:
    return _Figures(
        thickness_mm=settings.jacket.thickness_mm + SET_OUT * (settings.raster.pitch_mm or 0.0),
        mount=pattern.mount,
        volume_mm3=pattern.skin.volume_mm3,
        draft_deg=settings.jacket.draft_deg,
        slope_deg=settings.parting.slope_deg,
        density_g_cm3=material(RUBBER).density_g_cm3,
        flange_mm=(settings.jacket.clearance_mm or 0.0) + settings.shell.wall_mm + (settings.flange.width_mm or 0.0),
        bed_mm=settings.limits.bed_mm,
        crevice_mm=settings.jacket.crevice_mm,
        keep_clear=(*clear_boxes(settings, pattern.bounds_mm), *keep_clear),
    )
