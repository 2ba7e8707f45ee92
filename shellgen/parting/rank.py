"""Rank parting planes: five really different ones, each with what it is best at and why, beside the middle plane."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.job.model import PartingSettings
from shellgen.parting.cells import wanted_plane
from shellgen.parting.directions import Directions, angle_deg, hemisphere, level_ring, principal_axes
from shellgen.parting.keep_clear import Box, surface_in_box
from shellgen.parting.offset_body import IntArray, offset_body
from shellgen.parting.plane_cost import PlaneCost, Vector, Workpiece, cost_plane
from shellgen.parting.reasons import middle_reasons, reasons, role_of, rubber_cm3
from shellgen.parting.search import Look, search

SHOWN = 5
APART_DEG = 22.0
LEVEL_APART_DEG = 12.0
DEARER = 0.5  # a role goes to planes that fill at most this share of the plain jacket more than the cheapest
PLAIN_SHARE = 0.005  # of the jacket: the middle plane is kept unless another saves more than this
LEVEL_EXTRA = 12  # level directions tried beside the spiral, for an upright plane on a closed pattern
Mount = Literal["board", "stem", "none"]


@dataclass(frozen=True, slots=True)
class Ranking:
    """Planes by rising rubber, and the plane through the middle.

    planes : the first is the best. middle : what "middle" in a job stands for. tried : directions looked along before
    refining. work : what they were costed on, for costing further planes with `cost_plane`.
    """

    planes: tuple[PlaneCost, ...]
    middle: PlaneCost
    tried: int
    work: Workpiece


def prepare(
    vertices: FloatArray,
    faces: IntArray,
    *,
    thickness_mm: float,
    mount: Mount,
    volume_mm3: float | None,
    draft_deg: float,
    slope_deg: float = 45.0,
    density_g_cm3: float = 1.1,  # common practice, no source: mould silicones run from 1.07 to 1.20
    flange_mm: float = 30.0,
    bed_mm: Vector | None = None,
    crevice_mm: float = 0.0,
    keep_clear: Sequence[Box] = (),
) -> Workpiece:
    """Everything that costing one plane needs; the arguments are those of `rank_planes`."""
    on_board = mount != "none"
    body = offset_body(vertices, faces, thickness_mm=thickness_mm, volume_mm3=volume_mm3, on_board=on_board)
    used = np.asarray(vertices, float)[np.unique(faces)]
    patches = tuple(surface_in_box(np.asarray(vertices, float), faces, box) for box in keep_clear)
    return Workpiece(
        body, used, on_board, volume_mm3, draft_deg, slope_deg, density_g_cm3, flange_mm, bed_mm, crevice_mm, patches
    )


def rank_planes(
    vertices: FloatArray,
    faces: IntArray,
    *,
    thickness_mm: float,
    mount: Mount,
    volume_mm3: float | None,
    draft_deg: float,
    slope_deg: float = 45.0,
    density_g_cm3: float = 1.1,
    flange_mm: float = 30.0,
    bed_mm: Vector | None = None,
    crevice_mm: float = 0.0,
    keep_clear: Sequence[Box] = (),
    count: int = 200,
    stepped: bool = False,
    recost: Callable[[PlaneCost], PlaneCost] | None = None,
) -> Ranking:
    """Rank candidate parting planes of a pattern.

    vertices : (n, 3) float64 [mm], faces : (m, 3) int: the pattern in the mold frame, watertight or not. thickness_mm
    : of the rubber. mount : on a board or a stem planes stand upright and what lies below z = 0 does not count.
    volume_mm3 : the pattern's volume where it is known (None for a leaky mesh without a skin). draft_deg, slope_deg :
    of the walls, of a stepped parting. density_g_cm3 : of the rubber. flange_mm : from the rubber to the flange's
    edge. bed_mm : the printer's bed. crevice_mm : crevices under this radius fill with rubber. keep_clear : boxes
    (lowest, highest corner) that the seam should not cross. count : directions tried, over the half sphere or, for
    upright planes, half of them over half a turn. stepped : rank by what a stepped parting fills. recost : costs the
    planes that are offered more exactly than the search does.

    Raises
    ------
    PatternError
        If the mesh has no triangle.
    """
    work = prepare(
        vertices, faces, thickness_mm=thickness_mm, mount=mount, volume_mm3=volume_mm3, draft_deg=draft_deg,
        slope_deg=slope_deg, density_g_cm3=density_g_cm3, flange_mm=flange_mm, bed_mm=bed_mm,
        crevice_mm=crevice_mm, keep_clear=keep_clear,
    )  # fmt: skip
    directions = search_directions(work, count)
    looks = search(work, directions, stepped=stepped)
    bounds = np.array([work.vertices_mm.min(0), work.vertices_mm.max(0)])

    def costs_of(normal: FloatArray, offset_mm: float) -> PlaneCost:
        plane = cost_plane(work, normal, offset_mm)
        return plane if recost is None else recost(plane)

    def rank_key(plane: PlaneCost) -> tuple[int, float]:
        return len(plane.crosses), rubber_cm3(plane, stepped)

    middle = costs_of(*wanted_plane(PartingSettings(), bounds, work.on_board))  # type: ignore[call-arg]
    apart = LEVEL_APART_DEG if work.on_board else APART_DEG
    shown = [(costs_of(k.normal, k.offset_mm), k.basin) for k in _different(looks, work, apart)]
    shown.sort(key=lambda entry: rank_key(entry[0]))
    if _as_good(middle, shown[0][0], stepped):
        normal = np.array(middle.normal)
        others = [entry for entry in shown if angle_deg(normal, np.array(entry[0].normal)) >= apart]
        shown = [(middle, True), *others[: SHOWN - 1]]
    costs = [plane for plane, _ in shown]
    tried = len(directions.normals)
    planes = tuple(
        plane.said(
            role_of(plane, costs, stepped),
            reasons(plane, costs, middle, basin=basin, tried=tried, apart_deg=apart, stepped=stepped),
        )
        for plane, basin in shown
    )
    return Ranking(planes, middle.said("middle", middle_reasons(middle, planes[0], stepped)), tried, work)


def search_directions(work: Workpiece, count: int) -> Directions:
    """About `count` directions over the half sphere with the axes, or half of them level where planes stand upright."""
    if work.on_board:
        return level_ring(max(count // 2, 12))
    level = level_ring(LEVEL_EXTRA).normals
    return hemisphere(count, np.vstack([level, [[0.0, 0.0, 1.0]], principal_axes(work.vertices_mm)]))


def _as_good(middle: PlaneCost, best: PlaneCost, stepped: bool) -> bool:
    """Whether nobody would take another plane than the middle one: its jacket is no heavier, or hardly so."""
    if len(middle.crosses) != len(best.crosses):
        return len(middle.crosses) < len(best.crosses)
    mine, other = (rubber_cm3(plane, stepped) + plane.keys_cm3 for plane in (middle, best))
    return mine < other + PLAIN_SHARE * (middle.jacket_cm3 or 0.0)


def _different(looks: Sequence[Look], work: Workpiece, apart_deg: float) -> list[Look]:
    """At most five looks, none within `apart_deg` of another.

    The cheapest, then the best for each role among those that are not far dearer, then the other minima, then the
    rest.
    """
    clear = [k for k in looks if k.clear] or list(looks)
    cheapest = sorted(clear, key=lambda k: (k.fill_mm3, not k.basin))
    layer = max(work.body.volume_mm3 - (work.pattern_mm3 or 0.0), 0.1 * work.body.volume_mm3)
    fair = [k for k in cheapest if k.fill_mm3 <= cheapest[0].fill_mm3 + DEARER * layer]
    upright = [k for k in fair if abs(k.normal[2]) < 1e-9]
    wanted = [cheapest[0], min(fair, key=lambda k: k.draw_mm), min(fair, key=lambda k: k.flange_length_mm)]
    wanted += [min(fair, key=lambda k: k.tiles)] if work.bed_mm is not None else []
    wanted += upright[:1]
    wanted += [k for k in cheapest if k.basin] + cheapest
    picks: list[Look] = []
    for look in wanted:
        if len(picks) < SHOWN and all(angle_deg(look.normal, p.normal) >= apart_deg for p in picks):
            picks.append(look)
    return picks
