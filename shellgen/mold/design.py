"""From job and pattern to the recipe of every piece: the one place where a mold's parts are decided, in order."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon

from shellgen.envelope.facets import Facets, facets
from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import PieceSettings, Settings
from shellgen.mold.base import Foot, board_hole, foot
from shellgen.mold.closing import Closing, bolt_offset_mm, closing
from shellgen.mold.feet import foot_bar, posts, with_foot_bar
from shellgen.mold.flange import FlangePlan, flange_plan, section_at_parting, turned_over
from shellgen.mold.jacket_keys import LEAST, dome_rim_mm, places
from shellgen.mold.lip import lip_facets, lip_outline
from shellgen.mold.marks import flange_marks
from shellgen.mold.mold import Bolt, JacketKey, MoldDesign
from shellgen.mold.port import Port, PortPlace, bore_mm, design_port, port_place
from shellgen.mold.skins import Skins, SkinSpec, envelope, joined, lone_points, plan_grid, skins
from shellgen.parting.cells import Cell, halves
from shellgen.pattern.pattern import Pattern
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, Frustum, Outline, PieceRecipe, PlateRecipe, Role, inverse, transform
from shellgen.standards.fasteners import bolt as bolt_data

PIN_MM = 6.0  # locating pins: 6 mm rod in a 6.2 mm hole; common practice, no source
PIN_HOLE_MM = 6.2


def spec_of(settings: Settings, piece: str) -> SkinSpec:
    """What the skins of one piece must keep, its own settings before the job's."""
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
    )


@dataclass(frozen=True, slots=True, eq=False)
class Draped:
    """One cell with its skins, and what was put on the rubber."""

    cell: Cell
    spec: SkinSpec
    skins: Skins
    keys: tuple[JacketKey, ...]
    port: PortPlace | None


def drape(cell: Cell, bare: Facets, settings: Settings, on_board: bool, with_port: bool) -> Draped:
    """Skins of one cell over the pattern (with its lip), jacket keys included."""
    spec = spec_of(settings, cell.name)
    mesh = bare.moved(inverse(cell.pull_to_mold))
    coarse = plan_grid(mesh, spec, on_board, 2 * spec.pitch_mm)
    first = envelope(mesh, coarse, spec.jacket_mm, spec)
    port = port_place(first, 1.0) if with_port else None
    keys: tuple[JacketKey, ...] = ()
    if settings.jacket.keys:
        for smaller in (1.0, 0.75, 0.55, 0.4):  # a small pattern has room for small keys only
            height = smaller * min(float(settings.jacket.key_height_mm or 3.0), 0.6 * spec.jacket_mm)
            rim = dome_rim_mm(spec.jacket_mm, height)
            found = places(
                first,
                rim_mm=rim,
                spacing_mm=float(settings.jacket.key_spacing_mm or 60.0),
                least_height_mm=0.5 * spec.jacket_mm,
                keep_off=() if port is None else ((port.x_mm, port.y_mm, bore_mm(port, settings) / 2 + rim + 0.5),),
                least_y_mm=spec.jacket_mm + rim if on_board else -np.inf,
            )
            if len(found) >= LEAST:
                break
        mesh = joined(mesh, lone_points(found + np.array([0.0, 0.0, height - spec.jacket_mm])))
        tops = transform(found + np.array([0.0, 0.0, height]), cell.pull_to_mold)
        keys = tuple(JacketKey(cell.name, (float(x), float(y), float(z)), rim, height) for x, y, z in tops)
    grid = plan_grid(mesh, spec, on_board)
    return Draped(cell, spec, skins(mesh, grid, spec), keys, port)


def design(settings: Settings, pattern: Pattern) -> MoldDesign:
    """Two halves by one plane, with everything that belongs to them. `settings` must have every default filled in."""
    on_board = pattern.mount != "none"
    bare = facets(pattern.vertices_mm, pattern.faces)
    if on_board:
        rim = lip_outline(pattern.footprint, settings.mount.lip_mm)
        spec = spec_of(settings, "A")
        bare = joined(bare, lip_facets(rim, 2 * (spec.outside_mm + spec.crevice_mm) + 15.0))
    cells = halves(settings.parting, pattern.bounds_mm, on_board)
    with ThreadPoolExecutor(2) as pool:
        draped = list(pool.map(lambda c: drape(c, bare, settings, on_board, not on_board and c.name == "A"), cells))
    data = bolt_data(str(settings.bolts.size))
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    width = float(settings.flange.width_mm or 0.0)
    section = shapely.union_all(
        [
            section_at_parting(draped[0].skins.outside, cells[0].parting),
            turned_over(section_at_parting(draped[1].skins.outside, cells[1].parting)),
        ]
    )
    gap = flange_mm + data.washer_od_mm / 2 + 2.0 if on_board else None
    plan = flange_plan(
        section,
        width_mm=width,
        bolt_mm=bolt_offset_mm(data),
        rounding_mm=max(0.75 * data.washer_od_mm, 6.0),
        board_gap_mm=gap,
    )
    names = (cells[0].name, cells[1].name)
    shut = closing(plan, settings, names, cells[0].pull_to_mold)
    feet = _feet(settings, draped, flange_mm, width) if on_board else ()
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
        )
    pieces = tuple(
        _piece(k, settings, d, plan, shut, feet[k] if feet else None, port if k == 0 else None, bar)
        for k, d in enumerate(draped)
    )
    plates: list[PlateRecipe] = []
    bolts = list(shut.bolts)
    if feet:
        bolts += _board_bolts(settings, draped, feet)
        if settings.port.lid:
            lid, lid_bolts = _base_lid(settings, draped, feet, plan)
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
        keys=shut.keys,
        jacket_keys=tuple(k for d in draped for k in d.keys),
        assembly=(*names, *(p.name for p in plates)),
    )


def _piece(
    k: int,
    settings: Settings,
    draped: Draped,
    plan: FlangePlan,
    shut: Closing,
    stand: Foot | None,
    port: Port | None,
    bar: tuple[float, float, float, float] | None,
) -> PieceRecipe:
    """The recipe of the first (k = 0) or second half; `bar` is the foot bar in the first half's plan."""
    data = bolt_data(str(settings.bolts.size))
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    sign = np.array([1.0 if k == 0 else -1.0, 1.0])
    own = plan if k == 0 else FlangePlan(turned_over(plan.section), _turned(plan.outline), plan.bolt_line, plan.closed)
    features: list[Feature] = list(shut.first if k == 0 else shut.second)
    busy = shut.spots * sign
    if port is not None:
        features += port.features
    if bar is not None:
        features.append(foot_bar(bar, sign[0]))
    elif stand is None and k == 1 and settings.shell.feet:
        stood, at = posts(
            shut.middles * sign,
            shut.spots * sign,
            washer_mm=data.washer_od_mm,
            width_mm=float(settings.flange.width_mm or 0.0),
            bolt_mm=bolt_offset_mm(data),
            height_mm=float(draped.skins.outside.heights_mm.max()) + 3.0,
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
            own, shut.middles * sign, shut.tangents * sign, busy, data.washer_od_mm + 4.0, flange_mm, texts
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
    )


def _turned(outline: Polygon) -> Polygon:
    return shapely.geometry.polygon.orient(turned_over(outline))


def _feet(settings: Settings, draped: list[Draped], flange_mm: float, width: float) -> tuple[Foot, ...]:
    data = bolt_data(str(settings.bolts.size))
    return tuple(
        foot(
            d.skins.outside,
            width_mm=float(settings.mount.flange_mm or width),
            thickness_mm=flange_mm,
            bolt_mm=bolt_offset_mm(data),
            washer_mm=data.washer_od_mm,
            flange_mm=flange_mm,
            pitch_mm=settings.mount.bolt_pitch_mm,
            pin_mm=PIN_MM if settings.shell.pins else None,
            pin_share=0.2 if k == 0 else 0.45,
        )
        for k, d in enumerate(draped)
    )


def _board_bolts(settings: Settings, draped: list[Draped], feet: tuple[Foot, ...]) -> list[Bolt]:
    if not settings.mount.bolts:
        return []
    data = bolt_data(str(settings.bolts.size))
    out = []
    for d, f in zip(draped, feet, strict=True):
        for x, z in f.bolts:
            ends = transform(np.array([[x, f.flange.thickness_mm, z], [x, 0.0, z]]), d.cell.pull_to_mold)
            hole = data.hole_mm[settings.bolts.fit]
            out.append(
                Bolt(
                    (d.cell.name, "board"),
                    data.size,
                    (_point(ends[0]), _point(ends[1])),
                    ("washer", "board"),
                    "board",
                    hole,
                )
            )
    return out


def _base_lid(
    settings: Settings, draped: list[Draped], feet: tuple[Foot, ...], plan: FlangePlan
) -> tuple[PlateRecipe, list[Bolt]]:
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


def check_kind(settings: Settings) -> None:
    """Raise DesignError for partings that this design does not lay out."""
    if settings.parting.kind != "plane":
        raise DesignError(f"parting.kind = {settings.parting.kind!r}: only 'plane' can be built so far.")
