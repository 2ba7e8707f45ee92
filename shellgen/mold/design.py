"""From job and pattern to the recipe of every piece: the one place where a mold's parts are decided, in order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.facets import facets
from shellgen.envelope.raster import Envelope
from shellgen.errors import DesignError
from shellgen.job.model import PartingSettings, PlaneSettings, Settings
from shellgen.mold.auto_pitch import with_pitch
from shellgen.mold.base import Foot, board_hole
from shellgen.mold.board import base_lid, board_bolts, feet_of
from shellgen.mold.drape import spec_of
from shellgen.mold.feet import foot_bar, posts, with_foot_bar
from shellgen.mold.flange import FlangePlan, level_region, turned_over
from shellgen.mold.halves import Halves, lay_halves
from shellgen.mold.lip import lip_facets, lip_outline
from shellgen.mold.marks import flange_marks
from shellgen.mold.mold import MoldDesign
from shellgen.mold.places import bolt_offset_mm
from shellgen.mold.port import Port, bore_mm, design_port
from shellgen.mold.skins import joined
from shellgen.parting.cells import halves
from shellgen.parting.job_planes import rank_job
from shellgen.pattern.pattern import Pattern
from shellgen.solid.cell_cut import highest_mm, lowest_mm
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, PieceRecipe, PlateRecipe, Role
from shellgen.standards.fasteners import bolt as bolt_data

LEVEL_MM = 0.05  # how far a flange's face may be off where letters are engraved
PIN_HOLE_MM = 6.2  # for a rod of 6 mm


def design(settings: Settings, pattern: Pattern) -> MoldDesign:
    """The whole mold as recipes. `settings` must have every default filled in."""
    on_board = pattern.mount != "none"
    least_mm = min(spec_of(settings, name).thickness_mm for name in "AB") + settings.jacket.crevice_mm
    bare = facets(pattern.vertices_mm, pattern.faces, least_mm)
    if pattern.skin.error_mm > 0:  # the cavity is the skin's: cover what of it stands outside the mesh
        bare = joined(bare, facets(pattern.skin.vertices_mm, pattern.skin.faces, least_mm))
    if on_board:
        rim = lip_outline(pattern.footprint, settings.mount.lip_mm)
        spec = spec_of(settings, "A")
        bare = joined(bare, lip_facets(rim, 2 * (spec.outside_mm + spec.crevice_mm) + 15.0))
    parting, notes = wanted_parting(settings, pattern)
    cells = halves(parting, pattern.bounds_mm, on_board)
    settings, remarks = with_pitch(settings, pattern, bare, cells, on_board)
    laid = lay_halves(settings, bare, cells, on_board)
    draped, plan, names = laid.draped, laid.plan, (cells[0].name, cells[1].name)
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    feet: tuple[Foot, ...] = feet_of(settings, draped, laid.tops) if on_board else ()
    bar = None
    if on_board and settings.shell.feet:
        outline, bar = with_foot_bar(plan.outline)
        plan = replace(plan, outline=outline)
    port = None
    if not on_board and draped[0].port is not None:
        port = design_port(
            draped[0].port,
            draped[0].skins,
            piece=names[0],
            bore=bore_mm(draped[0].port, settings) / 2,
            lid_mm=float(settings.port.lid_thickness_mm or flange_mm),
            lid=settings.port.lid,
            pull_to_mold=cells[0].pull_to_mold,
            fit=settings.bolts.fit,
            wall_mm=draped[0].spec.outside_mm - draped[0].spec.inside_mm,
            low_mm=lowest_mm(draped[0].cell.parting),
        )
    pieces = tuple(
        _piece(k, settings, laid, plan, feet[k] if feet else None, port if k == 0 else None, bar) for k in range(2)
    )
    plates: list[PlateRecipe] = []
    bolts = list(laid.shut.bolts)
    if feet:
        bolts += board_bolts(settings, draped, feet)
        if settings.port.lid:
            lid, lid_bolts = base_lid(settings, draped, feet)
            plates.append(lid)
            bolts += lid_bolts
    if port is not None:
        bolts += port.bolts
        if port.lid is not None:
            plates.append(port.lid)
    return MoldDesign(
        settings=settings,
        pattern=pattern,
        pieces=pieces,
        plates=tuple(plates),
        bolts=tuple(bolts),
        keys=laid.shut.keys,
        jacket_keys=tuple(k for d in draped for k in d.keys),
        assembly=(*names, *(p.name for p in plates)),
        notes=(*notes, *remarks, *laid.notes),
    )


def wanted_parting(settings: Settings, pattern: Pattern) -> tuple[PartingSettings, tuple[str, ...]]:
    """The parting with its plane settled: "best" is the first of the ranked planes, told in a note."""
    if settings.parting.plane != "best" or settings.parting.kind != "plane":
        return settings.parting, ()
    ranking = rank_job(settings, pattern)
    best, middle = ranking.planes[0], ranking.middle
    plane = PlaneSettings(normal=best.normal, angle_deg=None, offset_mm=best.offset_mm)
    where = ", ".join(f"{v + 0.0:.3f}" for v in best.normal)
    note = (
        f"The best parting plane has the normal ({where}) at {best.offset_mm:.1f} mm: it fills {best.fill_cm3:.1f} cm3 "
        f"beyond the plain thickness, the plane through the middle {middle.fill_cm3:.1f}."
    )
    return settings.parting.model_copy(update={"plane": plane}), (note,)


def _piece(
    k: int,
    settings: Settings,
    laid: Halves,
    plan: FlangePlan,
    stand: Foot | None,
    port: Port | None,
    bar: tuple[float, float, float, float] | None,
) -> PieceRecipe:
    """The recipe of the first (k = 0) or second half; `bar` is the foot bar in the first half's plan."""
    data = bolt_data(str(settings.bolts.size))
    draped, shut, places, top = laid.draped[k], laid.shut, laid.places, laid.tops[k]
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    low = lowest_mm(draped.cell.parting)
    sign = np.array([1.0 if k == 0 else -1.0, 1.0])
    own = plan if k == 0 else FlangePlan(turned_over(plan.section), _turned(plan.outline), plan.bolt_line, plan.closed)
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
        hole = data.hole_mm[settings.bolts.fit] / 2
        if settings.mount.bolts or settings.port.lid:
            features += [board_hole(p, hole, flange_mm, Role.BASE_HOLE) for p in stand.bolts]
        if stand.pin is not None:
            features.append(board_hole(stand.pin, PIN_HOLE_MM / 2, flange_mm, Role.PIN_HOLE))
    if settings.shell.labels:
        texts = [f"{settings.name} {draped.cell.name}"[:24], draped.cell.name, "1", "2"]
        features += flange_marks(
            own if top is None else replace(own, outline=_flat_land(own.outline, top, flange_mm)),
            places.middles * sign,
            places.tangents * sign,
            busy,
            data.washer_od_mm + 4.0,
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


def _flat_land(outline: Polygon, top: Envelope, flange_mm: float) -> BaseGeometry:
    """Where a stepped flange's outer face lies as it would on the plane."""
    level = LEVEL_MM - np.abs(top.heights_mm - flange_mm)
    return outline.intersection(level_region(level, top.grid))


def _turned(outline: Polygon) -> Polygon:
    return shapely.geometry.polygon.orient(turned_over(outline))


def check_kind(settings: Settings) -> None:
    """Raise DesignError for partings that this design does not lay out."""
    if settings.parting.kind != "plane":
        raise DesignError(f"parting.kind = {settings.parting.kind!r}: only 'plane' can be built so far.")
