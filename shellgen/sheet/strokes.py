"""Fine smooth lines over a picture: collected first, then inked in one go per colour, halos below. Sizes in pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from PIL import Image, ImageDraw

from shellgen.sheet import paper
from shellgen.sheet.paper import Colour, Spot

_FINE = 2
_HALO: Colour = (255, 255, 254)
_Kind = Literal["line", "ring", "dot", "patch"]


@dataclass(frozen=True, slots=True)
class _Mark:
    """One thing to draw; a ring or dot by two corners of its box."""

    kind: _Kind
    spots: tuple[Spot, ...]
    width: float


class Strokes:
    """Lines, circles and dots waiting to be drawn; of two colours the one first used lies below."""

    def __init__(self) -> None:
        self._waiting: dict[Colour, list[_Mark]] = {}

    def line(self, points: Sequence[Spot], colour: Colour = paper.INK, width: float = 2.0, halo: bool = False) -> None:
        """A polyline; with a halo of paper it reads on any ground."""
        if halo:
            self._add(_HALO, "line", points, width + 3.0)
        self._add(colour, "line", points, width)

    def dashed(self, start: Spot, end: Spot, colour: Colour, width: float, ink: float = 14.0, gap: float = 7.0) -> None:
        """A dashed straight line."""
        length = math.hypot(end[0] - start[0], end[1] - start[1])
        at = 0.0
        while at < length:
            a, b = at / length, min(1.0, (at + ink) / length)
            self.line([_between(start, end, a), _between(start, end, b)], colour, width)
            at += ink + gap

    def circle(self, at: Spot, radius: float, colour: Colour = paper.INK, width: float = 2.0) -> None:
        """A ring."""
        self._add(colour, "ring", _box(at, radius), width)

    def dot(self, at: Spot, radius: float, colour: Colour = paper.INK) -> None:
        """A filled circle."""
        self._add(colour, "dot", _box(at, radius), 0.0)

    def arrow(self, start: Spot, end: Spot, colour: Colour = paper.INK, width: float = 2.0, both: bool = False) -> None:
        """A line with a slim head at its end, or at both ends."""
        length = math.hypot(end[0] - start[0], end[1] - start[1])
        if length < 1e-6:
            return
        self.line([start, end], colour, width)
        ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
        tip = min(6.0 + 3.0 * width, length / 2)
        for (x, y), way in ((end, -1.0), (start, 1.0))[: 2 if both else 1]:
            wings = [(x + way * tip * (ux - k * uy), y + way * tip * (uy + k * ux)) for k in (-0.3, 0.3)]
            self._add(colour, "patch", [(x, y), *wings], 0.0)

    def ink(self, page: Image.Image) -> None:
        """Draw all of it; nothing waits any more."""
        for colour, marks in sorted(self._waiting.items(), key=lambda item: item[0] != _HALO):
            xs, ys = zip(*(spot for mark in marks for spot in mark.spots), strict=True)
            left, top = math.floor(min(xs)) - 8, math.floor(min(ys)) - 8
            size = (math.ceil(max(xs)) + 8 - left, math.ceil(max(ys)) + 8 - top)
            mask = Image.new("L", (size[0] * _FINE, size[1] * _FINE))
            draw = ImageDraw.Draw(mask)
            for mark in marks:
                fine = [((x - left) * _FINE, (y - top) * _FINE) for x, y in mark.spots]
                width = max(1, round(mark.width * _FINE))
                if mark.kind == "line":
                    draw.line(fine, 255, width, joint="curve")
                elif mark.kind == "ring":
                    draw.ellipse((*fine[0], *fine[1]), outline=255, width=width)
                elif mark.kind == "dot":
                    draw.ellipse((*fine[0], *fine[1]), fill=255)
                else:
                    draw.polygon(fine, fill=255)
            page.paste(colour, (left, top), mask.reduce(_FINE))
        self._waiting.clear()

    def _add(self, colour: Colour, kind: _Kind, spots: Sequence[Spot], width: float) -> None:
        """Let a mark wait."""
        self._waiting.setdefault(colour, []).append(_Mark(kind, tuple(spots), width))


def _between(start: Spot, end: Spot, share: float) -> Spot:
    """A point on a line."""
    return start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share


def _box(at: Spot, radius: float) -> tuple[Spot, Spot]:
    """Opposite corners of a circle's box."""
    return (at[0] - radius, at[1] - radius), (at[0] + radius, at[1] + radius)
