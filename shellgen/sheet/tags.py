"""Names beside parts: each stands at the edge of the drawing, with a thin line to what it names. Sizes in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from shellgen.sheet import paper
from shellgen.sheet.paper import Colour, Spot
from shellgen.sheet.strokes import Strokes

Side = Literal["left", "right", "top"]
Map = npt.NDArray[np.int16]

_SIZE = 22
_APART = 38.0


@dataclass(frozen=True, slots=True)
class Tag:
    """A name: the words, the pixel it points at, the colour of its spot, and where it must stand if that matters.

    body : the number by which the map of the picture knows the part, -1 for none. dot : a spot ends the line. others :
    further pixels that it may point at instead, if a line from the edge reaches them more freely.
    """

    words: str
    at: Spot
    colour: Colour = paper.PAPER
    side: Side | None = None
    body: int = -1
    dot: bool = True
    others: tuple[Spot, ...] = ()


def draw_tags(
    page: Image.Image, strokes: Strokes, tags: Sequence[Tag], frame: tuple[int, int, int, int], seen: Map | None = None
) -> None:
    """Draw tags round a frame (left, top, right, bottom); the lines wait in `strokes`.

    seen : body number per pixel; a tag without a side takes the one whose line crosses least of other bodies.
    """
    draw = ImageDraw.Draw(page)
    placed = [(tag, tag.side) if tag.side else _clearest(tag, frame, seen) for tag in tags]
    for side in ("left", "right"):
        column = sorted((t for t, s in placed if s == side), key=lambda t: (t.at[1], t.words))
        levels = spread([t.at[1] for t in column], _APART, frame[1] + 20.0, frame[3] - 20.0)
        x = float(frame[0] if side == "left" else frame[2])
        for tag, y in zip(column, levels, strict=True):
            width = draw.textlength(tag.words, paper.font(_SIZE)) + 12
            draw.text((x, y), tag.words, paper.INK, paper.font(_SIZE), anchor="lm" if side == "left" else "rm")
            _leader(strokes, tag, (x + width if side == "left" else x - width, y))
    row = sorted((t for t, s in placed if s == "top"), key=lambda t: (t.at[0], t.words))
    apart = max((draw.textlength(t.words, paper.font(_SIZE)) for t in row), default=0.0) + 30.0
    places = spread([t.at[0] for t in row], apart, frame[0] + apart / 2, frame[2] - apart / 2)
    for tag, x in zip(row, places, strict=True):
        draw.text((x, frame[1]), tag.words, paper.INK, paper.font(_SIZE), anchor="ms")
        _leader(strokes, tag, (x, frame[1] + 8.0))


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Increasing positions near the wanted (increasing) ones, at least `apart` from each other.

    They stay within low and high; where they do not all fit, low gives way.

    >>> spread([10.0, 12.0, 90.0], 20.0, 0.0, 100.0)
    [10.0, 30.0, 90.0]
    """
    out: list[float] = []
    for value in wanted:
        out.append(max(value, low, out[-1] + apart if out else low))
    ceiling = high
    for k in range(len(out) - 1, -1, -1):
        out[k] = min(out[k], ceiling)
        ceiling = out[k] - apart
    return out


def _clearest(tag: Tag, frame: tuple[int, int, int, int], seen: Map | None) -> tuple[Tag, Side]:
    """The tag with the spot and the side between which a straight line runs over the least of other bodies."""
    left, top, right, _ = frame
    best: tuple[float, Spot, Side] = (np.inf, tag.at, "left")
    for number, spot in enumerate((tag.at, *tag.others)):
        x, y = int(spot[0]), int(spot[1])
        costs: dict[Side, float] = {"left": x - left, "right": right - x, "top": 1.2 * (y - top) + 120}
        if seen is not None:
            runs: dict[Side, Map] = {"left": seen[y, left:x], "right": seen[y, x:right], "top": seen[top:y, x]}
            for side, run in runs.items():
                costs[side] += 6.0 * float(np.count_nonzero((run >= 0) & (run != tag.body)))
        for side, cost in costs.items():
            best = min(best, (cost + (250.0 if number else 0.0), spot, side), key=lambda choice: choice[0])
    return replace(tag, at=best[1]), best[2]


def _leader(strokes: Strokes, tag: Tag, knee: Spot) -> None:
    """The line from a tag to its spot, with a dot at the end."""
    strokes.line([knee, tag.at], width=1.5, halo=True)
    if not tag.dot:
        return
    strokes.dot(tag.at, 4.0, tag.colour)
    strokes.circle(tag.at, 5.5, width=1.8)
