"""The recipe of one radial piece: what its two mating faces bring, in its own pull frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import shapely
from shapely.affinity import scale, translate
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray
from shellgen.job.model import Settings
from shellgen.mold.base import Foot
from shellgen.mold.board import foot_holes
from shellgen.mold.flange import FlangePlan, plan_turned_over, polygons
from shellgen.mold.gussets import Stand, axes_over, between, board_axes, free_corners, gussets, keep_off, web_plan
from shellgen.mold.marks import flange_marks
from shellgen.mold.port import Port
from shellgen.mold.radial import Face, Radial
from shellgen.solid.mesh import plan_of
from shellgen.solid.recipe import Feature, PieceRecipe, Prism, inverse, moved_shape, transform
from shellgen.standards.fasteners import bolt as bolt_data

CLEAR_MM = 1.0  # between a web and the middle of its piece, or a port


def wedge_recipe(k: int, settings: Settings, laid: Radial, stand: Foot | None, port: Port | None) -> PieceRecipe:
    """Piece k of a radial mold."""
    draped = laid.draped[k]
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    lean = float(np.hypot(1.0, laid.slope))
    features: list[Feature] = [] if port is None else list(port.features)
    outlines = []
    for face, frame, sign in laid.sides(k):
        own = list(face.shut.first if sign > 0 else face.shut.second)
        webs = _webs(settings, laid, k, sign, stand, port) if settings.flange.gussets else ()
        own += webs
        if settings.shell.labels:
            own += _labels(settings, laid, k, sign, flange_mm, webs)
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


def _plan_of(face: Face, sign: float) -> FlangePlan:
    """A face's plan in the frame of its first (sign 1) or second piece."""
    return face.plan if sign > 0 else plan_turned_over(face.plan)


def _webs(
    settings: Settings, laid: Radial, k: int, sign: float, stand: Foot | None, port: Port | None
) -> tuple[Feature, ...]:
    """The gussets on one of the piece's two plates, in that face's frame, clear of the bolts of the other."""
    draped, flange_mm = laid.draped[k], float(settings.flange.thickness_mm or 0.0)
    washer_mm = bolt_data(str(settings.bolts.size)).washer_od_mm
    this, other = laid.sides(k) if sign > 0 else laid.sides(k)[::-1]
    face, frame, _ = this
    spots = other[0].places.spots * np.array([-sign, 1.0])
    over = axes_over(np.column_stack([spots, np.full(len(spots), flange_mm)]), np.array([0.0, 0.0, 1.0]))
    axes = [transform(over, other[1])]
    if stand is not None:
        axes.append(board_axes(stand.bolts, stand.flange.thickness_mm))
    outside = draped.skins.outside

    def solid(at: FloatArray) -> npt.NDArray[np.bool_]:
        x, y, z = transform(at, frame).T
        return outside.at(x, y) >= z

    turn = np.array([sign, 1.0])
    room = Stand(
        plan=_plan_of(face, sign),
        wall_mm=draped.spec.wall_mm,
        width_mm=float(settings.flange.width_mm or 0.0),
        low_mm=0.0,
        face=lambda at: np.full(len(at), flange_mm),
        solid=solid,
        keep_off=keep_off(face.places.spots * turn, washer_mm, ()),
        washer_mm=washer_mm,
        axes_mm=transform(np.concatenate(axes), inverse(frame)),
    )
    webs = gussets(room, face.places.middles * turn)
    return tuple(w for w in webs if _stands_clear(w, frame, sign, port))


def _stands_clear(web: Feature, frame: FloatArray, sign: float, port: Port | None) -> bool:
    """Whether a web keeps to its side of the plane halfway between the piece's two faces, and off the port."""
    if not isinstance(web.shape, Prism):
        return False
    corners = transform(free_corners(web.shape), frame)
    plan = shapely.MultiPoint(corners[:, :2]).convex_hull
    room = keep_off(np.zeros((0, 2)), 0.0, () if port is None else port.features)
    return bool((sign * corners[:, 0]).min() > CLEAR_MM) and not plan.buffer(CLEAR_MM).intersects(room)


def _labels(
    settings: Settings, laid: Radial, k: int, sign: float, flange_mm: float, webs: tuple[Feature, ...]
) -> tuple[Feature, ...]:
    """Marks on one of the piece's two plates, in that face's frame: job and piece, and the pair that meets there."""
    face = laid.faces[k] if sign > 0 else laid.faces[k - 1]
    data = bolt_data(str(settings.bolts.size))
    names = [laid.draped[i].cell.name for i in (k, (k + 1) % len(laid.draped), k - 1)]
    pair = names[0] + names[1] if sign > 0 else names[2] + names[0]
    texts = [f"{settings.name} {names[0]}"[:24], pair] if sign > 0 else [pair]
    plan, turn, washer_mm = _plan_of(face, sign), np.array([sign, 1.0]), data.washer_od_mm + 4.0
    middles, tangents, spots = (p * turn for p in (face.places.middles, face.places.tangents, face.places.spots))
    if webs:
        beside = between(middles, tangents, spots, 0.5 * (laid.draped[k].spec.wall_mm - washer_mm))
        middles, tangents = np.concatenate([middles, beside]), np.tile(tangents, (3, 1))
    return flange_marks(
        replace(plan, outline=plan.outline.difference(shapely.union_all([web_plan(w) for w in webs]))),
        middles,
        tangents,
        spots,
        washer_mm,
        flange_mm,
        texts,
    )
