"""Rubber and shell laid over the pattern in one cell: its skins, its jacket keys, the place of its port."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import FloatArray, Grid
from shellgen.job.model import PieceSettings, Settings
from shellgen.mold.jacket_keys import LEAST
from shellgen.mold.key_places import FoundKeys, find_keys, in_cell, proud_of, rough_jacket
from shellgen.mold.mold import JacketKey
from shellgen.mold.port import PortPlace, bore_mm, port_place
from shellgen.mold.skins import Skins, SkinSpec, joined, plan_grid, reach, skins
from shellgen.parting.cells import Cell
from shellgen.solid.recipe import inverse, transform


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
    """One cell with its skins, and what was put on the rubber. keys_mm3 : the rubber that the keys add."""

    cell: Cell
    spec: SkinSpec
    skins: Skins
    keys: tuple[JacketKey, ...]
    port: PortPlace | None
    keys_mm3: float


def drape(cell: Cell, bare: Facets, settings: Settings, on_board: bool, with_port: bool, low_mm: float = 0.0) -> Draped:
    """Skins of one cell over the pattern (with its lip), jacket keys included. low_mm : lowest of its parting."""
    spec = spec_of(settings, cell.name, low_mm)
    mesh = bare.moved(inverse(cell.pull_to_mold))
    proud_mm = proud_of(settings, spec)
    grid = plan_grid(mesh, spec, on_board, spare_mm=proud_mm)
    raw = reach(mesh, grid, spec.jacket_mm, spec)
    port, found = placed(cell, raw, grid, spec, settings, on_board, with_port)
    keys: tuple[JacketKey, ...] = ()
    keys_mm3 = 0.0
    if found is not None:
        mesh, keys_mm3 = joined(mesh, found.domes), found.rubber_mm3
        raw = np.maximum(raw, reach(found.domes, grid, spec.jacket_mm, spec))
        rim, height = found.rim_mm, found.height_mm
        tops = transform(found.at_mm + np.array([0.0, 0.0, height]), cell.pull_to_mold)
        keys = tuple(JacketKey(cell.name, (float(x), float(y), float(z)), rim, height) for x, y, z in tops)
    return Draped(cell, spec, skins(mesh, raw, grid, spec), keys, port, keys_mm3)


def placed(
    cell: Cell, raw: FloatArray, grid: Grid, spec: SkinSpec, settings: Settings, on_board: bool, with_port: bool
) -> tuple[PortPlace | None, FoundKeys | None]:
    """Where a cell's port and its jacket keys go; None for what is not asked. raw : what the jacket reaches [mm]."""
    first, bare_raw = rough_jacket(raw, grid, spec)
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    port = port_place(*in_cell(first, cell.parting, 1.0, 3.0 * flange_mm)) if with_port else None
    if not settings.jacket.keys:
        return port, None
    off = () if port is None else ((port.x_mm, port.y_mm, bore_mm(port, settings) / 2),)
    found = find_keys(first, bare_raw, cell.parting, spec, settings, on_board, off)
    if len(found.at_mm) < LEAST:  # on a small or thin pattern places show on the full raster only
        found = find_keys(*rough_jacket(raw, grid, spec, 1), cell.parting, spec, settings, on_board, off)
    return port, found
