"""The recipe of one radial piece: what its two mating faces bring, in its own pull frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.affinity import scale, translate
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from shellgen.job.model import Settings
from shellgen.mold.base import Foot
from shellgen.mold.board import foot_holes
from shellgen.mold.flange import FlangePlan, polygons, turned_over
from shellgen.mold.marks import flange_marks
from shellgen.mold.port import Port
from shellgen.mold.radial import Radial
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, PieceRecipe, moved_shape
from shellgen.standards.fasteners import bolt as bolt_data


def wedge_recipe(k: int, settings: Settings, laid: Radial, stand: Foot | None, port: Port | None) -> PieceRecipe:
    """Piece k of a radial mold."""
    draped = laid.draped[k]
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    lean = float(np.hypot(1.0, laid.slope))
    features: list[Feature] = [] if port is None else list(port.features)
    outlines = []
    for face, frame, sign in laid.sides(k):
        own = list(face.shut.first if sign > 0 else face.shut.second)
        if settings.shell.labels:
            own += _labels(settings, laid, k, sign, flange_mm)
        features += [replace(f, shape=moved_shape(f.shape, frame)) for f in own]
        seen = leant(face.plan.outline, laid.slope * flange_mm)
        outlines.append(scale(seen, xfact=sign / lean, yfact=1.0, origin=(0, 0)))
    if stand is not None:
        features += foot_holes(settings, stand, flange_mm)
    parts = sorted(polygons(shapely.union_all(outlines)), key=lambda p: -p.area)
    plans = [plan_of(p, flange_mm) for p in parts]
    return PieceRecipe(
        name=draped.cell.name,
        pull_to_mold=draped.cell.pull_to_mold,
        parting=draped.cell.parting,
        jacket=draped.skins.jacket,
        inside=draped.skins.inside,
        outside=draped.skins.outside,
        outline=plans[0],
        on_board=stand is not None,
        base=None if stand is None else stand.flange,
        features=tuple(features),
        apart=tuple(plans[1:]),
    )


def leant(outline: Polygon, by_mm: float) -> BaseGeometry:
    """The outline of a plate as it is seen along the pull: its outer face lies nearer to the axis, by `by_mm` in x."""
    ring = np.asarray(outline.exterior.coords)
    back = ring - np.array([by_mm, 0.0])
    swept = [Polygon([a, b, d, c]).buffer(0) for a, b, d, c in zip(ring, ring[1:], back[1:], back, strict=False)]
    low, high = outline.bounds[1] - 1, outline.bounds[3] + 1
    seen = shapely.union_all([outline, translate(outline, xoff=-by_mm), *swept])
    return seen.intersection(box(0.0, low, outline.bounds[2] + 1, high))


def _labels(settings: Settings, laid: Radial, k: int, sign: float, flange_mm: float) -> tuple[Feature, ...]:
    """Marks on one of the piece's two plates, in that face's frame: job and piece, and the pair that meets there."""
    face = laid.faces[k] if sign > 0 else laid.faces[k - 1]
    data = bolt_data(str(settings.bolts.size))
    names = [laid.draped[i].cell.name for i in (k, (k + 1) % len(laid.draped), k - 1)]
    pair = names[0] + names[1] if sign > 0 else names[2] + names[0]
    texts = [f"{settings.name} {names[0]}"[:24], pair] if sign > 0 else [pair]
    plan, turn = face.plan, np.array([sign, 1.0])
    if sign < 0:
        outline = shapely.geometry.polygon.orient(turned_over(plan.outline))
        plan = FlangePlan(turned_over(plan.section), outline, plan.bolt_line, plan.closed)
    places = face.places
    return flange_marks(
        plan,
        places.middles * turn,
        places.tangents * turn,
        places.spots * turn,
        data.washer_od_mm + 4.0,
        flange_mm,
        texts,
    )
