"""The recipe of one of two halves: what flange, closing, board and port bring, in its own pull frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import Envelope
from shellgen.job.model import Settings
from shellgen.mold.base import Foot
from shellgen.mold.board import foot_holes
from shellgen.mold.feet import foot_bar, posts, with_foot_bar
from shellgen.mold.flange import FlangePlan, level_region, plan_turned_over
from shellgen.mold.gussets import Stand, between, board_axes, gussets, keep_off, web_plan
from shellgen.mold.halves import Halves
from shellgen.mold.marks import flange_marks
from shellgen.mold.places import bolt_offset_mm
from shellgen.mold.port import Port
from shellgen.solid.cell_cut import highest_mm, lowest_mm
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, PieceRecipe
from shellgen.standards.fasteners import bolt as bolt_data

LEVEL_MM = 0.05  # how far a flange's face may be off where letters are engraved


def half_recipe(k: int, settings: Settings, laid: Halves, stand: Foot | None, port: Port | None) -> PieceRecipe:
    """The first (k = 0) or second half."""
    data = bolt_data(str(settings.bolts.size))
    draped, shut, places, top = laid.draped[k], laid.shut, laid.places, laid.tops[k]
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    low = lowest_mm(draped.cell.parting)
    plan, bar = laid.plan, None
    if stand is not None and settings.shell.feet:
        outline, bar = with_foot_bar(plan.outline)
        plan = replace(plan, outline=outline)
    sign = np.array([1.0 if k == 0 else -1.0, 1.0])
    own = plan if k == 0 else plan_turned_over(plan)
    features: list[Feature] = list(shut.first if k == 0 else shut.second)
    busy = places.spots * sign
    if port is not None:
        features += port.features
    if bar is not None:
        features.append(foot_bar(bar, sign[0], low, highest_mm(draped.cell.parting)))
    elif stand is None and k == 1 and settings.shell.feet:
        stood, at = posts(
            places.middles * sign,
            places.spots * sign,
            washer_mm=data.washer_od_mm,
            width_mm=float(settings.flange.width_mm or 0.0),
            bolt_mm=bolt_offset_mm(data),
            height_mm=float(draped.skins.outside.heights_mm.max()) + 3.0,
            low_mm=low,
        )
        features += stood
        busy = np.concatenate([busy, at])
    if stand is not None:
        features += foot_holes(settings, stand, flange_mm)
    middles, tangents = places.middles * sign, places.tangents * sign
    webs = _webs(k, settings, laid, own, stand, features) if settings.flange.gussets else ()
    features += webs
    if settings.shell.labels:
        texts = [f"{settings.name} {draped.cell.name}"[:24], draped.cell.name, "1", "2"]
        land = own if top is None else replace(own, outline=_flat_land(own.outline, top, flange_mm))
        washer_mm = data.washer_od_mm + 4.0
        if webs:
            beside = between(middles, tangents, busy, 0.5 * (draped.spec.wall_mm - washer_mm))
            middles, tangents = np.concatenate([middles, beside]), np.tile(tangents, (3, 1))
        features += flange_marks(
            replace(land, outline=land.outline.difference(shapely.union_all([web_plan(w) for w in webs]))),
            middles,
            tangents,
            busy,
            washer_mm,
            flange_mm,
            texts,
        )
    return PieceRecipe(
        name=draped.cell.name,
        pull_to_mold=draped.cell.pull_to_mold,
        parting=draped.cell.parting,
        jacket=draped.skins.jacket,
        inside=draped.skins.inside,
        outside=draped.skins.outside,
        outline=plan_of(own.outline, flange_mm),
        on_board=stand is not None,
        base=None if stand is None else stand.flange,
        features=tuple(features),
        flange_top=top,
    )


def _webs(
    k: int, settings: Settings, laid: Halves, own: FlangePlan, stand: Foot | None, features: list[Feature]
) -> tuple[Feature, ...]:
    """The gussets of one half."""
    draped, top = laid.draped[k], laid.tops[k]
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    washer_mm = bolt_data(str(settings.bolts.size)).washer_od_mm
    sign = np.array([1.0 if k == 0 else -1.0, 1.0])
    outside = draped.skins.outside
    room = Stand(
        plan=own,
        wall_mm=draped.spec.wall_mm,
        width_mm=float(settings.flange.width_mm or 0.0),
        low_mm=lowest_mm(draped.cell.parting),
        face=lambda at: np.full(len(at), flange_mm) if top is None else top.at(at[:, 0], at[:, 1]),
        solid=lambda at: outside.at(at[:, 0], at[:, 1]) >= at[:, 2],
        keep_off=keep_off(laid.places.spots * sign, washer_mm, features),
        washer_mm=washer_mm,
        axes_mm=np.zeros((0, 3)) if stand is None else board_axes(stand.bolts, stand.flange.thickness_mm),
    )
    return gussets(room, laid.places.middles * sign)


def _flat_land(outline: Polygon, top: Envelope, flange_mm: float) -> BaseGeometry:
    """Where a stepped flange's outer face lies as it would on the plane."""
    level = LEVEL_MM - np.abs(top.heights_mm - flange_mm)
    return outline.intersection(level_region(level, top.grid))
