"""What the shell stands on with its opening up: a foot bar on top of the flange, or posts on the second half."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from shellgen.envelope.raster import FloatArray
from shellgen.mold.flange import polygons
from shellgen.mold.mold import VentHole
from shellgen.solid.recipe import Feature, Frustum, PieceRecipe, Prism, Role, inverse, transform

BAR_MM = 8.0  # how far the foot bar stands over the flange's highest point
FUNNEL_MM = 20.0  # free width over a hole of a pour, for a funnel or a plug; common practice, no source
TALLEST_BY_DIAMETER = 12.0  # slender posts snap; common practice, no source


def with_foot_bar(outline: Polygon) -> tuple[Polygon, tuple[float, float, float, float]]:
    """A mounted shell is turned over to be filled: its flange gets a flat bar at the top.

    Returns the outline with the bar, and the bar (x0, y0, x1, y1) in the first half's plan.
    """
    low_x, _, high_x, top = outline.bounds
    crest = outline.intersection(box(low_x - 1, top - 0.5, high_x + 1, top + 1))
    middle = crest.centroid.x
    half = max(12.0, 0.22 * (high_x - low_x))
    bar = (middle - half, top - 4.0, middle + half, top + BAR_MM)
    joined = max(polygons(shapely.union_all([outline, box(*bar)])), key=lambda p: p.area)
    return shapely.geometry.polygon.orient(joined), bar


def foot_bar(bar: tuple[float, float, float, float], sign: float, low_mm: float = 0.0, high_mm: float = 0.0) -> Feature:
    """The bar's share of one half, reaching out along the pull so that the shell cannot tip. sign : -1 turned over.

    low_mm, high_mm : lowest and highest place of the parting.
    """
    x0, y0, x1, y1 = bar
    if sign < 0:
        x0, x1 = -x1, -x0
    ring = ((x0, y0 + 4.0), (x1, y0 + 4.0), (x1, y1), (x0, y1))
    reach = 0.4 * (x1 - x0)
    length = high_mm + reach + 1.0 - low_mm
    shape = Prism(ring, (), (0.0, 0.0, low_mm - 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), length)
    return Feature(Role.FOOT, shape, add=True, body=True)


def posts(
    places: FloatArray,
    bolts: FloatArray,
    *,
    washer_mm: float,
    width_mm: float,
    bolt_mm: float,
    height_mm: float,
    low_mm: float = 0.0,
) -> tuple[tuple[Feature, ...], FloatArray]:
    """Up to four posts on a flange, as high as the dome, between its bolts; none where they would be too slender.

    places : (n, 2) midway between bolts, in the piece's plan. low_mm : lowest place of the parting. Returns the posts
    and where they stand (k, 2).
    """
    radius = min(bolt_mm, width_mm - bolt_mm) - 1.0
    if height_mm > TALLEST_BY_DIAMETER * 2 * radius or len(places) == 0:
        return (), np.zeros((0, 2))
    gap = np.hypot(places[:, None, 0] - bolts[None, :, 0], places[:, None, 1] - bolts[None, :, 1]).min(axis=1)
    free = places[gap >= washer_mm / 2 + radius + 0.5]
    if len(free) < 3:
        return (), np.zeros((0, 2))
    chosen = [int(np.argmin(free.sum(axis=1)))]
    away = np.hypot(*(free - free[chosen[0]]).T)
    while len(chosen) < min(4, len(free)):
        chosen.append(int(np.argmax(away)))
        away = np.minimum(away, np.hypot(*(free - free[chosen[-1]]).T))
    at = free[chosen]
    up = (0.0, 0.0, 1.0)
    foot_mm = low_mm - 1.0
    shapes = [Frustum((float(x), float(y), foot_mm), up, height_mm - foot_mm, radius, radius) for x, y in at]
    return tuple(Feature(Role.FOOT, s, add=True, body=True) for s in shapes), at


def without_bars_over(
    pieces: tuple[PieceRecipe, ...], holes: Sequence[VentHole]
) -> tuple[tuple[PieceRecipe, ...], tuple[str, ...]]:
    """Pieces of a mounted shell without the foot bars that stand over holes of a pour, and what is said of it."""
    kept = []
    for piece in pieces:
        back = inverse(piece.pull_to_mold)
        at = transform(np.array([h.at_mm for h in holes]).reshape(-1, 3), back)
        wide = np.array([0.5 * max(h.bore_mm, FUNNEL_MM) for h in holes])
        features = tuple(f for f in piece.features if not (f.role is Role.FOOT and _over(f, at, wide).any()))
        kept.append(replace(piece, features=features))
    bare = [a.name for a, b in zip(kept, pieces, strict=True) if len(a.features) < len(b.features)]
    if not bare:
        return pieces, ()
    said = (
        f"The foot bar of {' and '.join(bare)} would stand over holes of the pour and is left out: prop the shell up "
        "when it is turned over.",
    )
    return tuple(kept), said


def _over(foot: Feature, at_mm: FloatArray, wide_mm: FloatArray) -> FloatArray:
    """Which places (n, 3), each with so much free width, have a bar above them; up is y, both in the piece's frame."""
    shape = foot.shape
    if not isinstance(shape, Prism):
        return np.zeros(len(at_mm), bool)
    x, y = np.asarray(shape.outer).T
    low, high = shape.origin[2], shape.origin[2] + shape.length_mm
    beside = (at_mm[:, 0] > x.min() - wide_mm) & (at_mm[:, 0] < x.max() + wide_mm)
    return np.asarray(beside & (at_mm[:, 2] > low - wide_mm) & (at_mm[:, 2] < high + wide_mm) & (at_mm[:, 1] < y.max()))
