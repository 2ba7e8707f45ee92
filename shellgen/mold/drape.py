"""Rubber and shell laid over the pattern in one cell: its skins, its jacket keys, the place of its port."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.draft import draft
from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.job.model import PieceSettings, Settings
from shellgen.mold.jacket_keys import LEAST, dome_rim_mm, places, standing
from shellgen.mold.mold import JacketKey
from shellgen.mold.port import PortPlace, bore_mm, port_place
from shellgen.mold.skins import Skins, SkinSpec, closed, joined, lone_points, plan_grid, reach, skins
from shellgen.parting.cells import Cell
from shellgen.parting.surface import Parting
from shellgen.solid.recipe import inverse, transform

BELOW_MM = -1e4  # stands for "not in this cell" where the jacket lies below the parting


def spec_of(settings: Settings, piece: str, low_mm: float = 0.0) -> SkinSpec:
    """What the skins of one piece must keep, its own settings before the job's. low_mm : lowest of its parting."""
    own = settings.pieces.get(piece, PieceSettings())  # type: ignore[call-arg]
    jacket = settings.jacket
    return SkinSpec(
        thickness_mm=own.thickness_mm or jacket.thickness_mm,
        clearance_mm=float(own.clearance_mm if own.clearance_mm is not None else jacket.clearance_mm or 0.0),
        wall_mm=own.wall_mm or settings.shell.wall_mm,
        crevice_mm=jacket.crevice_mm,
        draft_deg=own.draft_deg or jacket.draft_deg,
        pitch_mm=float(settings.raster.pitch_mm or 1.0),
        tolerance_mm=settings.outputs.mesh_tolerance_mm,
        low_mm=low_mm,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Draped:
    """One cell with its skins, and what was put on the rubber."""

    cell: Cell
    spec: SkinSpec
    skins: Skins
    keys: tuple[JacketKey, ...]
    port: PortPlace | None


def in_cell(jacket: Envelope, parting: Parting, level_mm: float) -> tuple[Envelope, float]:
    """A jacket with what lies less than level_mm above its parting sunk away, and the height that tells it apart."""
    if parting.flat:
        return jacket, level_mm
    x, y = np.meshgrid(jacket.grid.x_mm, jacket.grid.y_mm)
    inside = jacket.heights_mm > parting.at(x, y) + level_mm
    return jacket.with_heights(np.where(inside, jacket.heights_mm, BELOW_MM)), 0.5 * BELOW_MM


KEY_PLACES = ((False, False), (True, False), (True, True))  # steep, low over the board: what is taken next
KEY_TRIES = 4  # places for keys looked for again where some would not stand proud


def drape(cell: Cell, bare: Facets, settings: Settings, on_board: bool, with_port: bool, low_mm: float = 0.0) -> Draped:
    """Skins of one cell over the pattern (with its lip), jacket keys included. low_mm : lowest of its parting."""
    spec = spec_of(settings, cell.name, low_mm)
    mesh = bare.moved(inverse(cell.pull_to_mold))
    proud_mm = min(float(settings.jacket.key_height_mm or 3.0), 0.6 * spec.jacket_mm) if settings.jacket.keys else 0.0
    grid = plan_grid(mesh, spec, on_board, spare_mm=proud_mm)
    raw = reach(mesh, grid, spec.jacket_mm, spec)
    coarse, bare_raw = _every_other(grid, draft(raw, spec.pitch_mm, spec.draft_deg, spec.floor_mm))
    first = closed(bare_raw, coarse, spec.jacket_mm, spec)
    port = port_place(*in_cell(first, cell.parting, 1.0)) if with_port else None
    keys: tuple[JacketKey, ...] = ()
    if settings.jacket.keys:
        seen, least = in_cell(first, cell.parting, 0.5 * spec.jacket_mm)
        sizes = (1.0, 0.75, 0.55, 0.4)  # a small pattern has room for small keys only
        for smaller, steep, low in ((s, *how) for how in KEY_PLACES for s in sizes):
            height = smaller * proud_mm
            rim = dome_rim_mm(spec.jacket_mm, height)
            found = np.zeros((0, 3))
            taken = [] if port is None else [(port.x_mm, port.y_mm, bore_mm(port, settings) / 2 + rim + 0.5)]
            for _ in range(KEY_TRIES):
                more = places(
                    seen,
                    rim_mm=rim,
                    height_mm=height,
                    steep=steep,
                    spacing_mm=float(settings.jacket.key_spacing_mm or 60.0),
                    least_height_mm=least,
                    keep_off=tuple(taken),
                    least_y_mm=(0.6 * rim if low else spec.jacket_mm + spec.crevice_mm + 1.2 * rim)
                    if on_board
                    else -np.inf,
                )
                if not len(more):
                    break
                domes = lone_points(np.concatenate([found, more]) + np.array([0.0, 0.0, height - spec.jacket_mm]))
                raised = np.maximum(bare_raw, reach(domes, coarse, spec.jacket_mm, spec))
                tried = closed(raised, coarse, spec.jacket_mm, spec)
                stands = standing(tried, more, rim_mm=rim, height_mm=height)
                taken += [
                    (float(x), float(y), 2.2 * rim if ok else rim) for (x, y, _), ok in zip(more, stands, strict=True)
                ]
                found = np.concatenate([found, more[stands]])
                if len(found) >= LEAST:
                    break
            if len(found) >= LEAST:
                break
        domes = lone_points(found + np.array([0.0, 0.0, height - spec.jacket_mm]))
        mesh, raw = joined(mesh, domes), np.maximum(raw, reach(domes, grid, spec.jacket_mm, spec))
        tops = transform(found + np.array([0.0, 0.0, height]), cell.pull_to_mold)
        keys = tuple(JacketKey(cell.name, (float(x), float(y), float(z)), rim, height) for x, y, z in tops)
    return Draped(cell, spec, skins(mesh, raw, grid, spec), keys, port)


def _every_other(grid: Grid, heights_mm: FloatArray) -> tuple[Grid, FloatArray]:
    """A raster of twice the pitch, good enough to look for places, and the heights at its nodes."""
    few = np.ascontiguousarray(heights_mm[::2, ::2])
    return Grid(grid.x0_mm, grid.y0_mm, 2 * grid.pitch_mm, *few.shape), few
