"""What stands on the board: the feet of all pieces, the bolts that hold them there, the lid that takes its place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.job.model import Settings
from shellgen.mold.base import CLEAR_ABOVE_MM, Foot, Standing, board_hole, foot
from shellgen.mold.drape import Draped
from shellgen.mold.mold import Bolt
from shellgen.mold.places import bolt_offset_mm
from shellgen.parting.surface import PlanesParting, ValleyParting
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, Frustum, Outline, PlateRecipe, Role, transform
from shellgen.standards.fasteners import bolt as bolt_data

PIN_MM = 6.0  # locating pins: 6 mm rod in a 6.2 mm hole; common practice, no source
PIN_HOLE_MM = 6.2
PIN_SHARES = (0.2, 0.45)  # along the row, another place in every other piece, so that no two can be exchanged


def feet_of(
    settings: Settings, draped: Sequence[Draped], flange_tops: Sequence[Envelope | None] = ()
) -> tuple[Foot, ...]:
    """The base flange of each piece. flange_tops : outer faces of the flanges of a stepped parting."""
    data = bolt_data(str(settings.bolts.size))
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    return tuple(
        foot(
            d.skins.outside,
            width_mm=float(settings.mount.flange_mm or settings.flange.width_mm or 0.0),
            thickness_mm=flange_mm,
            bolt_mm=bolt_offset_mm(data),
            washer_mm=data.washer_od_mm,
            flange_mm=flange_mm,
            pitch_mm=settings.mount.bolt_pitch_mm,
            pin_mm=PIN_MM if settings.shell.pins else None,
            pin_share=PIN_SHARES[k % 2],
            standing=_standing(d, flange_mm, flange_tops[k] if flange_tops else None),
        )
        for k, d in enumerate(draped)
    )


def _standing(d: Draped, flange_mm: float, top: Envelope | None) -> Standing | None:
    """How a parting that is not flat runs along the board."""
    if d.cell.parting.flat:
        return None
    g = d.skins.outside.grid
    x = np.arange(g.x_mm[0] - 60.0, g.x_mm[-1] + 60.0, g.pitch_mm)
    lie = d.cell.parting.at(x, np.zeros_like(x))
    stepped: FloatArray | None = None
    if top is not None:
        ys = np.arange(0.0, flange_mm + CLEAR_ABOVE_MM, g.pitch_mm)
        heights = top.at(*np.meshgrid(np.clip(x, top.grid.x_mm[0], top.grid.x_mm[-1]), ys))
        clear, stepped = heights.max(axis=0), heights[ys < flange_mm + g.pitch_mm].max(axis=0)
    elif isinstance(d.cell.parting, PlanesParting):
        clear = d.cell.parting.raised(x, np.zeros_like(x), flange_mm)
    else:
        slope = d.cell.parting.slope if isinstance(d.cell.parting, ValleyParting) else 0.0
        clear = lie + flange_mm * float(np.hypot(1.0, slope))
    return Standing(x, lie, clear, stepped)


def foot_holes(settings: Settings, stand: Foot, flange_mm: float) -> list[Feature]:
    """Holes for board bolts and pin through one piece's base flange."""
    found: list[Feature] = []
    if settings.mount.bolts or settings.port.lid:
        hole = bolt_data(str(settings.bolts.size)).hole_mm[settings.bolts.fit] / 2
        found += [board_hole(p, hole, flange_mm, Role.BASE_HOLE) for p in stand.bolts]
    if stand.pin is not None:
        found.append(board_hole(stand.pin, PIN_HOLE_MM / 2, flange_mm, Role.PIN_HOLE))
    return found


def board_bolts(settings: Settings, draped: Sequence[Draped], feet: Sequence[Foot]) -> list[Bolt]:
    """The bolts between base flanges and board."""
    if not settings.mount.bolts:
        return []
    data = bolt_data(str(settings.bolts.size))
    hole = data.hole_mm[settings.bolts.fit]
    out = []
    for d, f in zip(draped, feet, strict=True):
        for x, z in f.bolts:
            ends = transform(np.array([[x, f.flange.thickness_mm, z], [x, 0.0, z]]), d.cell.pull_to_mold)
            pair, seats = (d.cell.name, "board"), (_point(ends[0]), _point(ends[1]))
            out.append(Bolt(pair, data.size, seats, ("washer", "board"), "board", hole))
    return out


def base_lid(settings: Settings, draped: Sequence[Draped], feet: Sequence[Foot]) -> tuple[PlateRecipe, list[Bolt]]:
    """The plate that closes the open base while rolling, on the board bolts' holes."""
    data = bolt_data(str(settings.bolts.size))
    hole = data.hole_mm[settings.bolts.fit]
    thickness = float(settings.port.lid_thickness_mm or 0.0)
    shapes, features, bolts = [], [], []
    for d, f in zip(draped, feet, strict=True):
        ring = np.asarray(f.outline.exterior.coords)
        flat = transform(np.column_stack([ring[:, 0], np.zeros(len(ring)), ring[:, 1]]), d.cell.pull_to_mold)
        shapes.append(Polygon(flat[:, :2]).buffer(0.02))
        for x, z in f.bolts:
            top = transform(np.array([[x, f.flange.thickness_mm, z]]), d.cell.pull_to_mold)[0]
            axis = Frustum((float(top[0]), float(top[1]), -1.0), (0.0, 0.0, 1.0), thickness + 2.0, hole / 2, hole / 2)
            features.append(Feature(Role.BASE_HOLE, axis, add=False, through=True))
            low = (float(top[0]), float(top[1]), -thickness)
            bolts.append(Bolt((d.cell.name, "lid"), data.size, (_point(top), low), ("washer", "washer"), "lid", hole))
    merged = shapely.union_all(shapes).buffer(2.0).buffer(-2.0).simplify(0.02)
    outline = plan_of(merged, thickness)
    frame = np.eye(4)
    frame[2, 3] = -thickness
    lid = PlateRecipe("lid", "lid", frame, Outline(outline.outer, (), thickness), tuple(features))
    return lid, bolts


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
