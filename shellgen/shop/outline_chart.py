"""The picture of a mold's flange with each gap coloured by its opening. Pixels; plan of the first piece in mm."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from PIL import Image, ImageDraw
from shapely.geometry import Point

from shellgen.envelope.raster import FloatArray
from shellgen.sheet import paper
from shellgen.sheet.paper import Colour, Spot
from shellgen.sheet.strokes import Strokes
from shellgen.shop.bolts import BoltsAnswer
from shellgen.shop.joint.gaps import Gap
from shellgen.shop.seam_path import SeamPath

SHUT: Colour = (64, 132, 110)
HALF: Colour = (226, 178, 60)
WIDE: Colour = paper.ALARM
LABELLED = 28  # more gaps than this get a figure only at every other one


def draw_outline(answer: BoltsAnswer, job: str) -> Image.Image:
    """The page: 1600 x 1200. Each mating pair has its own plan, side by side."""
    page = paper.blank()
    report = answer.report
    verdict = "every gap within the limit" if report.holds else "the seam opens too far"
    paper.title(page, job, "opening of each gap between bolts", verdict)
    pairs = list(dict.fromkeys(path.line.pair for path in answer.paths))
    left, top, right, bottom = paper.FRAME
    width = (right - left) / len(pairs)
    gaps = iter(report.gaps)
    strokes = Strokes()
    labels: list[tuple[Spot, str]] = []
    plans = [[p for p in answer.paths if p.line.pair == pair] for pair in pairs]
    mm_per_px = max(_scale(paths, width, bottom - top) for paths in plans)
    for k, paths in enumerate(plans):
        middle = (left + (k + 0.5) * width, (top + bottom) / 2)
        labels += _plan(page, strokes, paths, gaps, middle, mm_per_px, report.limit_mm)
        paper.boxed(page, (left + k * width + 60, top + 16), f"{pairs[k][0]} to {pairs[k][1]}")
    strokes.ink(page)
    for at, words in labels:
        paper.boxed(page, at, words, 16)
    paper.legend(
        page,
        [
            ("shut", SHUT),
            (f"{report.limit_mm / 2:g} mm", HALF),
            (f"{report.limit_mm:g} mm and more", WIDE),
        ],
    )
    paper.scale_bar(page, mm_per_px)
    return page


def colour_of(opening_mm: float, limit_mm: float) -> Colour:
    """Green for shut, amber at half the limit, red from the limit on."""
    share = min(opening_mm / limit_mm, 1.0)
    low, high, t = (SHUT, HALF, 2 * share) if share < 0.5 else (HALF, WIDE, 2 * share - 1)
    red, green, blue = (round(a + (b - a) * t) for a, b in zip(low, high, strict=True))
    return red, green, blue


def _scale(paths: Sequence[SeamPath], width: float, height: float) -> float:
    x0, y0, x1, y1 = paths[0].outline.bounds
    return max((x1 - x0) / (width - 170), (y1 - y0) / (height - 110))


def _plan(
    page: Image.Image,
    strokes: Strokes,
    paths: Sequence[SeamPath],
    gaps: Iterator[Gap],
    middle: Spot,
    mm_per_px: float,
    limit_mm: float,
) -> list[tuple[Spot, str]]:
    """Outline, gaps and bolts of one pair; returns the labels to put on top."""
    x0, y0, x1, y1 = paths[0].outline.bounds
    centre = np.array([(x0 + x1) / 2, (y0 + y1) / 2])

    def px(points: FloatArray) -> list[Spot]:
        moved = (np.asarray(points) - centre) / mm_per_px
        return [(middle[0] + float(x), middle[1] - float(y)) for x, y in moved]

    draw = ImageDraw.Draw(page)
    outline = paths[0].outline
    draw.polygon(px(np.asarray(outline.exterior.coords)), paper.SHELLS[0])
    for hole in outline.interiors:
        draw.polygon(px(np.asarray(hole.coords)), paper.PAPER)
    labels: list[tuple[Spot, str]] = []
    shown = sum(len(path.gaps_mm) for path in paths)
    for path in paths:
        for k, plan in enumerate(path.gaps_mm):
            gap = next(gaps)
            strokes.line(px(plan), colour_of(gap.opening_mm, limit_mm), 10.0)
            if gap.kind == "span" and (shown <= LABELLED or k % 2 == 0):
                labels.append((_beside(plan, path, px, middle), f"{gap.opening_mm:.3f}"))
        for spot in px(path.bolts_mm):
            strokes.dot(spot, 7.0, paper.INK)
    return labels


def _beside(plan: FloatArray, path: SeamPath, px: Callable[[FloatArray], list[Spot]], middle: Spot) -> Spot:
    """A place outside the flange, level with the middle of a gap."""
    steps = np.hypot(*np.diff(plan, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    half = at[-1] / 2
    point = np.array([np.interp(half, at, plan[:, 0]), np.interp(half, at, plan[:, 1])])
    ahead = np.array([np.interp(half + 1, at, plan[:, 0]), np.interp(half + 1, at, plan[:, 1])])
    behind = np.array([np.interp(half - 1, at, plan[:, 0]), np.interp(half - 1, at, plan[:, 1])])
    along = (ahead - behind) / max(float(np.linalg.norm(ahead - behind)), 1e-9)
    normal = np.array([along[1], -along[0]])
    if path.outline.contains(Point(point + normal * (path.heel_mm + 1.0))):
        normal = -normal
    edge = px(np.array([point + normal * path.heel_mm, point]))
    dx, dy = edge[0][0] - edge[1][0], edge[0][1] - edge[1][1]
    length = max(float(np.hypot(dx, dy)), 1e-9)
    return edge[0][0] + dx / length * 34.0, edge[0][1] + dy / length * 18.0
