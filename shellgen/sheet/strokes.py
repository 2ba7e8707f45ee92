"""Fine smooth lines over a picture: collected first, then inked in one go per colour, halos below. Sizes in pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PIL import Image, ImageDraw

from shellgen.sheet import paper
from shellgen.sheet.paper import Colour, Spot

_FINE = 2
_HALO: Colour = (255, 255, 254)


class Strokes:
    """Lines, circles and dots waiting to be drawn; of two colours the one first used lies below."""

    def __init__(self, size: tuple[int, int] = paper.SIZE) -> None:
        self._size = size
        self._masks: dict[Colour, ImageDraw.ImageDraw] = {}
        self._images: dict[Colour, Image.Image] = {}

    def line(self, points: Sequence[Spot], colour: Colour = paper.INK, width: float = 2.0, halo: bool = False) -> None:
        """A polyline; with a halo of paper it reads on any ground."""
        fine = [(x * _FINE, y * _FINE) for x, y in points]
        if halo:
            self._draw(_HALO).line(fine, 255, round((width + 3.0) * _FINE), joint="curve")
        self._draw(colour).line(fine, 255, max(1, round(width * _FINE)), joint="curve")

    def dashed(self, start: Spot, end: Spot, colour: Colour, width: float, ink: float = 14.0, gap: float = 7.0) -> None:
        """A dashed straight line."""
        length = math.hypot(end[0] - start[0], end[1] - start[1])
        at = 0.0
        while at < length:
            a, b = at / length, min(1.0, (at + ink) / length)
            self.line([_between(start, end, a), _between(start, end, b)], colour, width)
            at += ink + gap

    def circle(
        self, at: Spot, radius: float, colour: Colour = paper.INK, width: float = 2.0, halo: bool = False
    ) -> None:
        """A ring."""
        if halo:
            box = _box(at, radius + 1.5)
            self._draw(_HALO).ellipse(box, outline=255, width=round((width + 3.0) * _FINE))
        self._draw(colour).ellipse(_box(at, radius), outline=255, width=max(1, round(width * _FINE)))

    def dot(self, at: Spot, radius: float, colour: Colour = paper.INK) -> None:
        """A filled circle."""
        self._draw(colour).ellipse(_box(at, radius), fill=255)

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
            self._draw(colour).polygon([(a * _FINE, b * _FINE) for a, b in ((x, y), *wings)], fill=255)

    def ink(self, page: Image.Image) -> None:
        """Draw all of it."""
        for colour, image in sorted(self._images.items(), key=lambda item: item[0] != _HALO):
            page.paste(colour, (0, 0), image.reduce(_FINE))
        self._masks.clear()
        self._images.clear()

    def _draw(self, colour: Colour) -> ImageDraw.ImageDraw:
        """The mask of one colour."""
        if colour not in self._masks:
            self._images[colour] = Image.new("L", (self._size[0] * _FINE, self._size[1] * _FINE))
            self._masks[colour] = ImageDraw.Draw(self._images[colour])
        return self._masks[colour]


def _between(start: Spot, end: Spot, share: float) -> Spot:
    """A point on a line."""
    return start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share


def _box(at: Spot, radius: float) -> tuple[float, float, float, float]:
    """A circle's box in fine pixels."""
    return (at[0] - radius) * _FINE, (at[1] - radius) * _FINE, (at[0] + radius) * _FINE, (at[1] + radius) * _FINE
