"""One parting plane with all that it costs, fit to be shown in a table."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.parting import cost
from shellgen.parting.columns import columns_along
from shellgen.parting.crevices import with_crevices_filled
from shellgen.parting.directions import canonical
from shellgen.parting.keep_clear import crossed
from shellgen.parting.offset_body import OffsetBody
from shellgen.parting.stepped import step_along

Vector = tuple[float, float, float]
FINE_NODES = 200


@dataclass(frozen=True, slots=True, eq=False)
class Workpiece:
    """What planes are costed on: the pattern's offset body and the job's figures.

    body : grown by the rubber. vertices_mm : (n, 3) the pattern's own. on_board : it stands on the board at z = 0.
    pattern_mm3 : its volume, None where unknown. draft_deg, slope_deg : of the walls to the pull; of a stepped
    parting. density_g_cm3 : of the rubber. flange_mm : from the rubber to the flange's edge (gap, wall and flange
    width). crevice_mm : crevices under this radius fill with rubber. patches : surface points (k, 3) of every place
    to be kept clear.
    """

    body: OffsetBody
    vertices_mm: FloatArray
    on_board: bool
    pattern_mm3: float | None
    draft_deg: float
    slope_deg: float
    density_g_cm3: float
    flange_mm: float
    bed_mm: Vector | None
    crevice_mm: float = 0.0
    patches: tuple[FloatArray, ...] = ()


@dataclass(frozen=True, slots=True)
class PlaneCost:
    """A plane {x : x · normal = offset_mm} in the mold frame and its cost.

    fill_cm3, fill_g : rubber beyond the plain thickness: undercuts filled to the plane, draft. stepped_fill_cm3 : the
    same with a stepped parting on this plane, never more. free_fill_cm3 : what no parting along this pull avoids,
    draft apart. keys_cm3 : rubber of the jacket keys, no part of the fill; 0 where they were not laid out. jacket_cm3 :
    all the rubber of the flat parting's jacket, None where the pattern's volume is unknown. flange_length_mm,
    flange_area_cm2 : of the parting line and of one flange face round it. draw_mm : deepest half. balance : smaller
    half over larger. projected_mm : smallest rectangle of a half with its flange. bed_tiles : prints that make up a
    half, None without a bed. crosses : numbers of the places to be kept clear that the seam runs through. role : what
    it was picked for. why : in words.
    """

    normal: Vector
    offset_mm: float
    fill_cm3: float
    stepped_fill_cm3: float
    free_fill_cm3: float
    fill_g: float
    jacket_cm3: float | None
    flange_length_mm: float
    flange_area_cm2: float
    draw_mm: float
    balance: float
    projected_mm: tuple[float, float]
    bed_tiles: int | None
    crosses: tuple[int, ...] = ()
    role: str = ""
    why: tuple[str, ...] = ()
    keys_cm3: float = 0.0

    def said(self, role: str, why: tuple[str, ...]) -> PlaneCost:
        """The same plane with its role and reasons."""
        return replace(self, role=role, why=why)


def bed_tiles(projected_mm: tuple[float, float], height_mm: float, bed_mm: Vector | None) -> int | None:
    """How many prints a half of this size takes when it is cut into pieces that fit the bed, the better way round."""
    if bed_mm is None:
        return None
    a, b = projected_mm
    x, y, z = bed_mm
    return min(ceil(a / x) * ceil(b / y), ceil(a / y) * ceil(b / x)) * ceil(height_mm / z)


def reach_mm(work: Workpiece, normal: FloatArray) -> tuple[float, float]:
    """Offsets between which a plane meets the pattern (on a board: what stands above it)."""
    along = np.einsum("ij,j->i", work.vertices_mm, normal)
    return float(along.min()), float(along.max())


def cost_plane(work: Workpiece, normal: FloatArray, offset_mm: float, *, nodes_along: int = FINE_NODES) -> PlaneCost:
    """What one plane costs.

    normal : (3,) any length. offset_mm : distance from the mold frame's origin along it. nodes_along : raster nodes
    on the longest side of the shadow.

    Raises
    ------
    DesignError If the plane misses the pattern, or a mounted pattern is to be parted by a plane that does not hold
        the vertical.
    """
    length = float(np.linalg.norm(normal))
    if not length > 0:
        raise DesignError("parting.plane.normal is zero: give a direction, for example [0, 1, 0]")
    given = np.asarray(normal, float) / length
    unit = canonical(given)
    offset = float(offset_mm) if unit @ given > 0 else -float(offset_mm)
    if work.on_board and abs(unit[2]) > 1e-6:
        nearest = given * [1, 1, 0]
        hint = "" if np.linalg.norm(nearest) < 1e-6 else f"; the nearest is [{nearest[0]:.3f}, {nearest[1]:.3f}, 0]"
        raise DesignError(
            f"parting.plane.normal has z = {given[2]:.3f}, but on a board or stem the plane must stand upright: "
            f"use z = 0{hint}"
        )
    low, high = reach_mm(work, unit)
    if not low < offset < high:
        if unit @ given < 0:
            low, high = -high, -low
        nearest_mm = min(max(float(offset_mm), low + 0.1 * (high - low)), high - 0.1 * (high - low))
        raise DesignError(
            f"parting.plane.offset_mm = {offset_mm:g} misses the pattern, which lies between {low:.1f} and "
            f"{high:.1f} mm along this normal: use {nearest_mm:.1f}"
        )
    plain = columns_along(work.body, unit, draft_deg=work.draft_deg, on_board=work.on_board, nodes_along=nodes_along)
    columns = with_crevices_filled(plain, work.crevice_mm)
    step = step_along(columns, level_mm=offset, slope=float(np.tan(np.radians(work.slope_deg))))
    fill, board = step.plane_fill_mm3, work.on_board
    projected = cost.projected_mm(columns, work.flange_mm, on_board=board)
    draw = cost.draw_mm(columns, offset)
    jacket = None if work.pattern_mm3 is None else fill + columns.volume_mm3 - work.pattern_mm3
    return PlaneCost(
        normal=(float(unit[0]), float(unit[1]), float(unit[2])),
        offset_mm=offset,
        fill_cm3=fill / 1e3,
        stepped_fill_cm3=step.fill_mm3 / 1e3,
        free_fill_cm3=cost.free_fill_mm3(columns) / 1e3,
        fill_g=fill / 1e3 * work.density_g_cm3,
        jacket_cm3=None if jacket is None else jacket / 1e3,
        flange_length_mm=cost.flange_length_mm(columns, on_board=board),
        flange_area_cm2=cost.flange_area_mm2(columns, work.flange_mm, on_board=board) / 100,
        draw_mm=draw,
        balance=cost.balance(columns, offset),
        projected_mm=projected,
        bed_tiles=bed_tiles(projected, draw + work.flange_mm / 2, work.bed_mm),
        crosses=crossed(work.patches, unit, offset),
    )
