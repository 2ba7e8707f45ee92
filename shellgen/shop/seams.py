"""Seams of a designed mold: its closing bolts in order along the flange, with their real distances. mm."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LinearRing, Point, Polygon

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.mold.mold import Bolt, MoldDesign
from shellgen.shop.joint.seam import SeamLine
from shellgen.shop.seam_path import SeamPath, face_paths
from shellgen.solid.recipe import PieceRecipe, transform

ROUND = 24  # segments of a quarter circle
BOARD_BAND_MM = 0.5  # an edge of the outline this near the board is the foot of the piece, not its flange


def seam_paths(design: MoldDesign) -> tuple[SeamPath, ...]:
    """All seams of a mold, pair by pair: one for each edge or line of the flange that bolts stand along.

    Raises DesignError if no bolt closes the mold.
    """
    pairs = sorted({b.pair for b in design.bolts if b.setup == "closing"})
    if not pairs:
        raise DesignError("the mold has no closing bolts, so it has no seam.")
    if design.seams:
        return tuple(path for face in design.seams for path in face_paths(face, design.bolts))
    recipes = {recipe.name: recipe for recipe in design.pieces}
    found: list[SeamPath] = []
    for pair in pairs:
        bolts = [b for b in design.bolts if b.setup == "closing" and b.pair == pair]
        found += _of_pair(pair, recipes[pair[0]], bolts)
    return tuple(found)


def _of_pair(pair: tuple[str, str], recipe: PieceRecipe, bolts: list[Bolt]) -> list[SeamPath]:
    """Seams of one pair, in the plan of its first piece."""
    into = np.linalg.inv(recipe.pull_to_mold)
    spots = transform(np.array([b.seats_mm[0] for b in bolts], np.float64), np.asarray(into, np.float64))[:, :2]
    outline = Polygon(recipe.outline.outer, recipe.outline.holes)
    edges = [LinearRing(recipe.outline.outer), *(LinearRing(h) for h in recipe.outline.holes)]
    heels = np.array([[edge.distance(Point(p)) for edge in edges] for p in spots])
    nearest = heels.argmin(axis=1)
    paths = []
    for i, edge in enumerate(edges):
        mine = spots[nearest == i]
        if len(mine):
            heel = float(np.median(heels[nearest == i, i]))
            paths.append(_along(pair, recipe, edge, mine, heel, outline))
    return paths


def _along(
    pair: tuple[str, str], recipe: PieceRecipe, edge: LinearRing, spots: FloatArray, heel: float, outline: Polygon
) -> SeamPath:
    """Bolts near one edge put in order along the line that runs `heel` inside it."""
    line = _bolt_line(edge, heel, recipe.on_board, inner=not edge.equals(LinearRing(outline.exterior)))
    at = np.array([line.project(Point(p)) for p in spots])
    order = np.argsort(at, kind="stable")
    at, spots = at[order], spots[order]
    steps = np.diff(np.append(at, at[0] + line.length))
    gaps = [_stretch(line, a, a + s) for a, s in zip(at, steps, strict=True)]
    drawn = [_through(g, p, q) for g, p, q in zip(gaps, spots, np.roll(spots, -1, axis=0), strict=True)]
    cut = _break(gaps, steps, recipe.on_board)
    if cut is None:
        return SeamPath(
            SeamLine(pair, _lengths(gaps, recipe), None), spots, tuple(drawn), heel, outline, recipe.pull_to_mold
        )
    gaps, drawn = gaps[cut + 1 :] + gaps[:cut], drawn[cut + 1 :] + drawn[:cut]
    spots = np.roll(spots, -cut - 1, axis=0)
    free, last = float(steps[cut]), float(at[cut])
    first = last + free
    low, high = _stretch(line, first, first - free / 2), _stretch(line, last, last + free / 2)
    before = _free_end(low + spots[0] - low[0], recipe.on_board, recipe.parting.flat)[::-1]
    after = _free_end(high + spots[-1] - high[0], recipe.on_board, recipe.parting.flat)
    ends = _lengths([before, after], recipe)
    shown = ([before] if ends[0] > 0 else []) + drawn + ([after] if ends[1] > 0 else [])
    return SeamPath(
        SeamLine(pair, _lengths(gaps, recipe), (ends[0], ends[1])),
        spots,
        tuple(shown),
        heel,
        outline,
        recipe.pull_to_mold,
    )


def _bolt_line(edge: LinearRing, heel: float, on_board: bool, inner: bool) -> LinearRing:
    """The line at `heel` from an edge, on the flange's side; on a board it runs on below it, as if the flange did.

    Its outward corners are rounded to twice the heel, so that a foot on the edge does not draw it out.
    """
    whole = Polygon(edge)
    if on_board and not inner:
        low, _, high, _ = whole.intersection(shapely.box(-1e6, -1.0, 1e6, BOARD_BAND_MM)).bounds or whole.bounds
        whole = whole.union(shapely.box(low, -4.0 * heel - 10.0, high, BOARD_BAND_MM))
    moved = whole.buffer(heel) if inner else whole.buffer(-3.0 * heel).buffer(2.0 * heel, quad_segs=ROUND)
    return LinearRing(max(getattr(moved, "geoms", [moved]), key=lambda g: g.area).exterior)


def _break(gaps: list[FloatArray], steps: FloatArray, on_board: bool) -> int | None:
    """Index of the gap at which the seam is interrupted, None for one that closes.

    On a board that is the one that runs below it; elsewhere one more than twice as long as usual, where another pair
    or an opening lies between.
    """
    if on_board and min(float(g[:, 1].min()) for g in gaps) < 0:
        return int(np.argmin([g[:, 1].min() for g in gaps]))
    longest = int(steps.argmax())
    others = np.delete(steps, longest)
    return longest if len(others) == 0 or steps[longest] > 2.0 * float(np.median(others)) else None


def _stretch(line: LinearRing, start: float, end: float) -> FloatArray:
    """Plan (k, 2) of the line between two places along it, backwards where end < start."""
    corners = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.asarray(line.coords), axis=0).T))])[:-1]
    low, high = min(start, end), max(start, end)
    all_corners = np.sort(np.concatenate([corners + k * line.length for k in (-1, 0, 1, 2)]))
    inside = all_corners[(all_corners > low + 1e-9) & (all_corners < high - 1e-9)]
    places = np.concatenate([[low], inside, [high]])
    plan = np.array([line.interpolate(s % line.length).coords[0] for s in places])
    return plan if end >= start else plan[::-1]


def _through(plan: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """The line moved so that it runs from bolt to bolt, where bolts do not stand on it exactly."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(plan, axis=0).T))])
    share = (run / max(float(run[-1]), 1e-9))[:, None]
    return plan + (1.0 - share) * (start - plan[0]) + share * (end - plan[-1])


def _free_end(plan: FloatArray, on_board: bool, flat: bool) -> FloatArray:
    """The start of a line up to the board, or up to the fold where the mating faces lean."""
    keep = shapely.box(-1e6, 0.0 if on_board else -1e6, 1e6, 1e6)
    if not flat:
        side = float(np.sign(plan[0, 0])) or 1.0
        keep = keep.intersection(shapely.box(min(0.0, side * 1e6), -1e6, max(0.0, side * 1e6), 1e6))
    kept = shapely.LineString(plan).intersection(keep)
    start = Point(plan[0])
    strings = [g for g in getattr(kept, "geoms", [kept]) if g.geom_type == "LineString" and g.distance(start) < 1e-6]
    return np.asarray(strings[0].coords) if strings else plan[:1]


def _lengths(plans: list[FloatArray], recipe: PieceRecipe) -> tuple[float, ...]:
    """Lengths of plan lines on the parting surface."""
    out = []
    for plan in plans:
        height = recipe.parting.at(plan[:, 0], plan[:, 1])
        out.append(float(np.linalg.norm(np.diff(np.column_stack([plan, height]), axis=0), axis=1).sum()))
    return tuple(out)
