"""The recipe of one piece between planes: what its mating faces bring, in its own pull frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray
from shellgen.job.model import Settings
from shellgen.mold.base import Foot
from shellgen.mold.board import foot_holes
from shellgen.mold.faces import Assembled, MatingFace, united
from shellgen.mold.feet import posts
from shellgen.mold.flange import plan_turned_over, ring, turned_over
from shellgen.mold.marks import flange_marks
from shellgen.mold.places import bolt_offset_mm
from shellgen.mold.port import Port
from shellgen.parting.shares import Share
from shellgen.parting.surface import PlaneParting
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, PieceRecipe, Prism, Role, inverse, moved_shape, transform
from shellgen.standards.fasteners import bolt as bolt_data

UNDER_MM = 1.0  # plates start that far below their face and are cut there


def between_recipe(k: int, settings: Settings, laid: Assembled, stand: Foot | None, port: Port | None) -> PieceRecipe:
    """Piece k. Where its parting is one flat plane its flange is the union of its faces' outlines in it."""
    draped = laid.draped[k]
    cell = draped.cell
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    to_pull = inverse(cell.pull_to_mold)
    features: list[Feature] = [] if port is None else list(port.features)
    busy = np.zeros((0, 2))
    if settings.shell.feet and _turned_onto(laid, k):
        stood, busy = _posts(settings, laid, k)
        features += stood
    plates: list[Feature] = []
    outlines: list[Polygon] = []
    mates = laid.of(cell.name)
    for n, face in enumerate(mates):
        first = face.meeting.pair[0] == cell.name
        matrix = to_pull @ face.frame(cell.name)
        own = list(face.shut.first if first else face.shut.second)
        if settings.shell.labels:
            own += _labels(settings, face, cell.name, n == 0, flange_mm, lifted(busy, inverse(matrix)))
        features += [replace(f, shape=moved_shape(f.shape, matrix)) for f in own]
        outline = face.plan.outline if first else shapely.geometry.polygon.orient(turned_over(face.plan.outline))
        plates.append(Feature(Role.PLATE, moved_shape(_plate(outline, flange_mm), matrix), add=True, body=True))
        outlines += seen(outline, matrix, flange_mm)
    if stand is not None:
        features += foot_holes(settings, stand, flange_mm)
    flat = isinstance(cell.parting, PlaneParting)
    plans = [plan_of(p, flange_mm) for p in united(outlines).geoms]
    return PieceRecipe(
        name=cell.name,
        pull_to_mold=cell.pull_to_mold,
        parting=cell.parting,
        jacket=draped.skins.jacket,
        inside=draped.skins.inside,
        outside=draped.skins.outside,
        outline=plans[0],
        on_board=stand is not None,
        base=None if stand is None else stand.flange,
        features=tuple(features if flat else [*plates, *features]),
        apart=tuple(plans[1:]),
    )


def _plate(outline: Polygon, flange_mm: float) -> Prism:
    """A face's plate in the piece's frame of the face, from a little under it."""
    holes = tuple(ring(np.asarray(r.coords)) for r in outline.interiors)
    outer = ring(np.asarray(outline.exterior.coords))
    return Prism(outer, holes, (0.0, 0.0, -UNDER_MM), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), flange_mm + UNDER_MM)


def seen(outline: Polygon, matrix: FloatArray, flange_mm: float) -> list[Polygon]:
    """A plate as it is seen along the pull; nothing of one that holds the pull. matrix : 4x4 from its face's frame."""
    if matrix[2, 2] < 1e-6:
        return []

    def at(height_mm: float) -> Polygon:
        def carried(points: FloatArray) -> FloatArray:
            return transform(np.column_stack([points, np.full(len(points), height_mm)]), matrix)[:, :2]

        return shapely.transform(outline, carried)

    low, high = at(0.0), at(flange_mm)
    if matrix[2, 2] > 1.0 - 1e-9:
        return [low]
    a, b = (np.asarray(p.exterior.coords) for p in (low, high))
    swept = [Polygon([p, q, s, r]).buffer(0) for p, q, r, s in zip(a, a[1:], b, b[1:], strict=False)]
    whole: BaseGeometry = shapely.union_all([low, high, *swept])
    return [p for p in getattr(whole, "geoms", [whole]) if isinstance(p, Polygon)]


def _turned_onto(laid: Assembled, k: int) -> bool:
    """Whether a piece is the cap of a mounted mold, which is turned over to be filled."""
    cells = [d.cell for d in laid.draped]
    mounted = any(isinstance(c, Share) and c.on_board for c in cells)
    own = cells[k]
    return mounted and isinstance(own, Share) and not own.on_board and bool(own.pull_to_mold[2, 2] > 1.0 - 1e-9)


def _posts(settings: Settings, laid: Assembled, k: int) -> tuple[tuple[Feature, ...], FloatArray]:
    """What a cap stands on: posts on its flange, between the bolts, and where they stand (k, 2)."""
    draped = laid.draped[k]
    name = draped.cell.name
    data = bolt_data(str(settings.bolts.size))
    to_pull = inverse(draped.cell.pull_to_mold)
    middles, spots = [], []
    for face in laid.of(name):
        matrix = to_pull @ face.meeting.to_mold
        middles.append(lifted(face.places.middles, matrix))
        spots.append(lifted(face.places.spots, matrix))
    return posts(
        np.concatenate(middles),
        np.concatenate(spots),
        washer_mm=data.washer_od_mm,
        width_mm=float(settings.flange.width_mm or 0.0),
        bolt_mm=bolt_offset_mm(data),
        height_mm=float(draped.skins.outside.heights_mm.max()) + 3.0,
    )


def lifted(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Places (n, 2) in the plan of one frame, in that of another which a 4x4 leads to."""
    return transform(np.column_stack([points, np.zeros(len(points))]), matrix)[:, :2]


def _labels(
    settings: Settings, face: MatingFace, piece: str, named: bool, flange_mm: float, busy: FloatArray
) -> tuple[Feature, ...]:
    """Marks on one of the piece's plates, in its frame of the face: the pair that meets there, job and piece once.

    busy : (n, 2), what else stands on it.
    """
    data = bolt_data(str(settings.bolts.size))
    first = face.meeting.pair[0] == piece
    pair = "".join(face.meeting.pair)
    texts = [f"{settings.name} {piece}"[:24], pair] if named else [pair]
    plan, places = face.plan if first else plan_turned_over(face.plan), face.places
    turn = np.array([1.0 if first else -1.0, 1.0])
    return flange_marks(
        plan,
        places.middles * turn,
        places.tangents * turn,
        np.concatenate([places.spots * turn, busy]),
        data.washer_od_mm + 4.0,
        flange_mm,
        texts,
    )
