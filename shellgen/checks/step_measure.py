"""What can be measured on one part's STEP file, read back, against its recipe and its mesh."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from shellgen.checks.holes import genus_of
from shellgen.checks.step_lines import Lines, lines_through
from shellgen.checks.step_reread import Counts, counts, graphs_of, moved_back, read_solids
from shellgen.checks.step_surfaces import (
    bores_missing,
    designed_bores,
    mating_area_mm2,
    mating_planes,
    skins_of,
    without,
)
from shellgen.checks.step_volume import volume_mm3
from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.spline_fit import FitReport, fit_report, target_report
from shellgen.envelope.spline_fit_graph import SplineGraph
from shellgen.envelope.spline_fit_nodes import surface_nodes
from shellgen.mold.gussets import standing_mm3
from shellgen.mold.mold import Part
from shellgen.parting.surface import PlanesParting, SteppedParting
from shellgen.solid.brep.land import mating_target, turned_over
from shellgen.solid.cell_cut import COARSER
from shellgen.solid.mesh import SAG_MM
from shellgen.solid.recipe import Feature, Frustum, Outline, PieceRecipe, PlateRecipe, Prism, Role

VOLUME_SHARE = 0.001
FACES_MAX, FACES_BOLTS = 100, 30  # a half with so many bolts has no more faces than this
FACES_MORE = {Role.POCKET: 7, Role.GUSSET: 4}
SEAT_FACES = 2
ALIKE = 1e-9  # a plate whose axis is a mating face's normal to that lies on it
CREASE_SHARE = 0.05  # of the coarser tolerance, over the plan of a stepped flange: creases take a small part of it


@dataclass(frozen=True, slots=True)
class StepMeasure:
    """One part's STEP file.

    counts, volume_off and mating_mm2 are None where the file does not hold one solid. genus : of the mesh part.
    volume_off : share by which its volume differs from the mesh part's, labels that it lacks allowed for;
    volume_limit : what it may be. lines : straight lines drawn through it. skins : distances of the inside's and the
    outside's envelope from the file's faces, empty for flat parts. mating_mm2 : of plane mating faces, None where
    there are none by design. mating : the graph of a stepped mating face and its distances from the design's, in the
    first half's frame.
    """

    part: str
    solids: int
    valid: bool
    counts: Counts | None = None
    genus: int = 0
    volume_off: float | None = None
    volume_limit: float = 0.0
    lines: Lines | None = None
    faces_limit: int = 0
    bores: int = 0
    bores_missing: int = 0
    mating_mm2: float | None = None
    skins: tuple[FitReport, ...] = ()
    mating: tuple[SplineGraph, FitReport] | None = None
    stepped: bool = False


def measure(
    path: Path,
    recipe: PieceRecipe | PlateRecipe,
    part: Part,
    mesh_mm: float,
    left_out: Collection[int] = (),
    *,
    engraved: bool = False,
) -> StepMeasure:
    """Read a part's file back and measure it in its recipe's frame, against its mesh, which keeps to mesh_mm.

    left_out : numbers of gussets among the recipe's features that the file has none of, by the writer's word.
    engraved : whether the file has the labels that the mesh has.

    Raises KernelError if OCC cannot read it.
    """
    from OCP.BRepCheck import BRepCheck_Analyzer

    solids = read_solids(path)
    valid = all(BRepCheck_Analyzer(s, True, True).IsValid() for s in solids)  # geometry too, on all cores
    if len(solids) != 1:
        return StepMeasure(recipe.name, len(solids), valid)
    frame = recipe.pull_to_mold if isinstance(recipe, PieceRecipe) else recipe.plate_to_mold
    solid = moved_back(solids[0], frame)
    graph_of = graphs_of(solid)
    corners = part.vertices_mm @ frame[:3, :3] - frame[:3, 3] @ frame[:3, :3]
    wanted = part.volume_mm3 + (0.0 if engraved else labels_mm3(recipe))
    faces = skins_of(solid, graph_of) if isinstance(recipe, PieceRecipe) else ([], [])
    stepped = isinstance(recipe, PieceRecipe) and isinstance(recipe.parting, SteppedParting)
    mating = None
    if isinstance(recipe, PieceRecipe) and stepped:
        mating, faces = _land(recipe, faces)
    if isinstance(recipe, PieceRecipe):
        wanted -= standing_mm3(recipe, left_out)
    return StepMeasure(
        part=recipe.name,
        solids=1,
        valid=valid,
        counts=counts(solid),
        genus=genus_of(part),
        volume_off=volume_mm3(solid, graph_of) / wanted - 1.0,
        volume_limit=VOLUME_SHARE + (SAG_MM * round_walls_mm2(recipe) + _coarse_mm3(recipe, mesh_mm)) / wanted,
        lines=lines_through(solid, corners.min(axis=0), corners.max(axis=0), graph_of),
        faces_limit=faces_limit(recipe),
        bores=len(designed_bores(recipe.features)),
        bores_missing=len(bores_missing(solid, recipe.features)),
        mating_mm2=_mating_mm2(solid, recipe) if isinstance(recipe, PieceRecipe) and not stepped else None,
        skins=_skin_reports(faces, recipe) if isinstance(recipe, PieceRecipe) else (),
        mating=mating,
        stepped=stepped,
    )


def faces_limit(recipe: PieceRecipe | PlateRecipe) -> int:
    """As many faces as a CAM seat takes with ease, and what gussets and hex pockets add to them.

    A large piece has more where it has more than FACES_BOLTS bolts: the bore of each, and its spot-faced seat.
    """
    more = sum(FACES_MORE.get(f.role, 0) for f in recipe.features)
    bores, seats = (sum(f.role is role for f in recipe.features) for role in (Role.BOLT_HOLE, Role.SEAT))
    return FACES_MAX + more + max(bores - FACES_BOLTS, 0) + SEAT_FACES * max(seats - FACES_BOLTS, 0)


def _mating_mm2(solid: object, recipe: PieceRecipe) -> float:
    """Least area of a piece's plane mating faces; between a list of planes, of those that have a plate."""
    planes = mating_planes(recipe.parting)
    plates = [f.shape.up for f in recipe.features if f.role is Role.PLATE and isinstance(f.shape, Prism)]
    if plates:
        planes = [(n, d) for n, d in planes if any(float(n @ up) > 1 - ALIKE for up in plates)]
    return min((mating_area_mm2(solid, n, d) for n, d in planes), default=0.0)


def _coarse_mm3(recipe: PieceRecipe | PlateRecipe, mesh_mm: float) -> float:
    """What a mesh may lose at the creases of a stepped flange, whose faces are coarser triangles than the skins."""
    if not isinstance(recipe, PieceRecipe) or recipe.flange_top is None:
        return 0.0
    plan = shapely.Polygon(recipe.outline.outer, recipe.outline.holes).area
    return CREASE_SHARE * COARSER * mesh_mm * float(plan)


Skins = tuple[list[SplineGraph], list[SplineGraph]]


def _land(recipe: PieceRecipe, faces: Skins) -> tuple[tuple[SplineGraph, FitReport] | None, Skins]:
    """The mating face of a stepped piece, turned into the first half's frame; the skins without the flange's faces."""
    assert isinstance(recipe.parting, SteppedParting) and recipe.flange_top is not None
    low, inside = without(faces[0], recipe, recipe.parting.at)
    _, outside = without(faces[1], recipe, recipe.flange_top.at)
    if not low:
        return None, (inside, outside)
    graphs = tuple(turned_over(g) for g in low) if recipe.parting.over else tuple(low)
    return (graphs[0], target_report(graphs, mating_target(recipe))), (inside, outside)


def _skin_reports(faces: Skins, recipe: PieceRecipe) -> tuple[FitReport, ...]:
    """How far the envelopes of a piece lie from the skins of its file; nothing for a skin that is not there."""
    inside, outside = faces
    low = 0.0 if recipe.on_board else None
    over = recipe.base.thickness_mm if recipe.base is not None else low
    thick = recipe.outline.thickness_mm
    out = []
    for graphs, envelope, by_mm, low_y in ((inside, recipe.inside, 0.0, low), (outside, recipe.outside, thick, over)):
        if graphs:
            surface = envelope.with_heights(surface_nodes(envelope))
            out.append(fit_report(tuple(graphs), surface, _level(recipe, surface, by_mm), low_y))
    return tuple(out)


def _level(recipe: PieceRecipe, envelope: Envelope, thick_mm: float) -> FloatArray:
    """Where an envelope is trimmed, over its raster: at the parting or, with a thickness, at the flange's outer face.

    The thickness is square to the mating faces. Beyond sides of the parting nothing of the envelope lies over it.
    """
    x, y = np.meshgrid(envelope.grid.x_mm, envelope.grid.y_mm)
    parting = recipe.parting
    if recipe.flange_top is not None and thick_mm > 0:
        return recipe.flange_top.at(x, y)
    if isinstance(parting, PlanesParting):
        raised = parting.raised(x, y, thick_mm)
        return np.where(parting.within(x, y, thick_mm), raised, np.maximum(raised, envelope.heights_mm))
    if thick_mm == 0:
        return parting.at(x, y)
    return parting.at(x, y) + thick_mm / float(mating_planes(parting)[0][0][2])


def labels_mm3(recipe: PieceRecipe | PlateRecipe) -> float:
    """Volume that engraved labels take out of a part's mesh."""
    planes = mating_planes(recipe.parting) if isinstance(recipe, PieceRecipe) else []
    return sum(_engraved_mm3(f, recipe.outline.thickness_mm, planes) for f in recipe.features if f.role is Role.LABEL)


def _engraved_mm3(feature: Feature, top_mm: float, planes: list[tuple[FloatArray, float]]) -> float:
    """planes : normals and offsets of a piece's mating faces, to one of which its label is square."""
    shape = feature.shape
    if feature.add or not isinstance(shape, Prism):
        return 0.0
    up = shape.up
    ground = next((d for n, d in planes if float(n @ up) > 1 - ALIKE), 0.0)
    depth = min(max(top_mm + ground - float(up @ np.asarray(shape.origin)), 0.0), shape.length_mm)
    return float(shapely.Polygon(shape.outer, shape.holes).area) * depth


def round_walls_mm2(recipe: PieceRecipe | PlateRecipe) -> float:
    """Area of outlines and round features, which a mesh has as polygons within SAG_MM of the curve [mm2]."""
    plates = [f.shape for f in recipe.features if f.role is Role.PLATE and isinstance(f.shape, Prism)]
    outlines: list[Outline | Prism] = [*plates] if plates else [recipe.outline]
    rings = [np.asarray(r, float) for o in outlines for r in (o.outer, *o.holes)]
    around = sum(float(np.hypot(*(np.roll(r, -1, axis=0) - r).T).sum()) for r in rings)
    round_ = [f.shape for f in recipe.features if isinstance(f.shape, Frustum)]
    return around * recipe.outline.thickness_mm + sum(np.pi * (s.r0_mm + s.r1_mm) * s.length_mm for s in round_)
