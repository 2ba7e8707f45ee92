"""The page that every picture is drawn on: colours, lettering, title, legend, scale bar. Sizes in pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

Colour = tuple[int, int, int]
Spot = tuple[float, float]
"""A pixel: right, down."""

PAPER: Colour = (253, 252, 249)
INK: Colour = (40, 46, 58)
SOFT: Colour = (112, 118, 128)
RULE: Colour = (206, 204, 198)
RUBBER: Colour = (222, 150, 126)
RUBBER_CUT: Colour = (244, 196, 178)
PATTERN: Colour = (238, 228, 204)
LID: Colour = (196, 172, 138)
SPACER: Colour = (122, 92, 146)
VENT: Colour = (24, 124, 112)
BOARD: Colour = (222, 208, 184)
BOARD_LINE: Colour = (150, 120, 84)
METAL: Colour = (120, 124, 132)
ALARM: Colour = (198, 32, 38)
SHELLS: tuple[Colour, ...] = (
    (150, 178, 200),
    (176, 194, 158),
    (214, 194, 146),
    (184, 170, 202),
    (142, 190, 184),
    (206, 168, 178),
)

SIZE = (1600, 1200)
MARGIN = 48
FRAME = (MARGIN, 124, SIZE[0] - MARGIN, SIZE[1] - 118)
"""Left, top, right, bottom of the room for the drawing between title and footer."""


@lru_cache(maxsize=32)
def font(size: int) -> ImageFont.FreeTypeFont:
    """The lettering: Pillow's own built-in face, the same on every machine."""
    face = ImageFont.load_default(size=size)
    assert isinstance(face, ImageFont.FreeTypeFont)
    return face


def blank() -> Image.Image:
    """An empty page."""
    return Image.new("RGB", SIZE, PAPER)


def title(page: Image.Image, job: str, seen: str, facts: str = "") -> None:
    """Job and what is seen at the top left, a line of facts at the top right."""
    draw = ImageDraw.Draw(page)
    draw.text((MARGIN, 62), job, INK, font(40), anchor="ls")
    start = MARGIN + draw.textlength(job, font(40)) + 22
    draw.text((start, 62), seen, SOFT, font(26), anchor="ls")
    draw.text((SIZE[0] - MARGIN, 62), facts, SOFT, font(20), anchor="rs")
    draw.line([(MARGIN, 84), (SIZE[0] - MARGIN, 84)], RULE, 2)


def legend(page: Image.Image, entries: Sequence[tuple[str, Colour]]) -> None:
    """Colours and what they stand for, along the foot of the page, in as many rows as they need."""
    draw = ImageDraw.Draw(page)
    left, right = MARGIN, SIZE[0] - 480
    rows: list[list[tuple[int, str, Colour]]] = [[]]
    x = left
    for words, colour in entries:
        width = 34 + draw.textlength(words, font(20)) + 30
        if x + width > right and x > left:
            rows.append([])
            x = left
        rows[-1].append((x, words, colour))
        x += int(width)
    for k, row in enumerate(rows):
        y = SIZE[1] - 44 - 18 * len(rows) + 36 * k
        for x, words, colour in row:
            draw.rectangle([x, y - 10, x + 24, y + 10], colour, INK, 1)
            draw.text((x + 34, y), words, INK, font(20), anchor="lm")


def scale_bar(page: Image.Image, mm_per_px: float, right: float = SIZE[0] - MARGIN, longest_px: float = 340.0) -> None:
    """A bar of a round length in mm at the foot of the page, ending at `right`."""
    length = round_length_mm(longest_px * mm_per_px)
    draw = ImageDraw.Draw(page)
    left, y = right - length / mm_per_px, SIZE[1] - 52
    for k in range(5):
        cell = [left + (right - left) * k / 5, y - 6, left + (right - left) * (k + 1) / 5, y + 6]
        draw.rectangle(cell, INK if k % 2 == 0 else PAPER, INK, 1)
    draw.text((left, y - 12), "0", INK, font(18), anchor="ms")
    draw.text((right, y - 12), f"{length:g} mm", INK, font(18), anchor="rs")


def round_length_mm(longest_mm: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above `longest_mm`.

    >>> [round_length_mm(x) for x in (9.9, 23.0, 130.0)]
    [5.0, 20.0, 100.0]
    """
    power = 10.0 ** math.floor(math.log10(longest_mm) + 1e-9)
    return float(next(m * power for m in (5.0, 2.0, 1.0) if m * power <= longest_mm * (1 + 1e-9)))


def boxed(page: Image.Image, at: Spot, words: str, size: int = 20) -> None:
    """Words on a small patch of paper."""
    draw = ImageDraw.Draw(page)
    left, top, right, bottom = draw.textbbox(at, words, font(size), anchor="mm")
    draw.rectangle([left - 6, top - 4, right + 6, bottom + 4], PAPER)
    draw.text(at, words, INK, font(size), anchor="mm")


def banner(page: Image.Image, failures: Sequence[str]) -> Image.Image:
    """The page with a red strip DO NOT MAKE below the title, the failed checks' titles in it, and the words across all.

    The page as it is where nothing failed. The strip makes the page taller: it hides nothing that helps to find the
    fault.
    """
    if not failures:
        return page
    tall, cut = 150, 90
    out = Image.new("RGB", (page.width, page.height + tall), PAPER)
    out.paste(page.crop((0, 0, page.width, cut)), (0, 0))
    out.paste(page.crop((0, cut, page.width, page.height)), (0, cut + tall))
    ghost = Image.new("L", (1500, 260))
    ImageDraw.Draw(ghost).text((750, 130), "DO NOT MAKE", 70, font(210), anchor="mm")
    ghost = ghost.rotate(26, Image.Resampling.BICUBIC, expand=True)
    out.paste(ALARM, ((out.width - ghost.width) // 2, cut + tall + (page.height - cut - ghost.height) // 2), ghost)
    draw = ImageDraw.Draw(out)
    draw.rectangle([0, cut, out.width, cut + tall - 6], ALARM)
    draw.text((out.width / 2, cut + 58), "DO NOT MAKE", (255, 255, 255), font(92), anchor="mm", stroke_width=2)
    words = "failed: " + ", ".join(failures)
    while draw.textlength(words, font(24)) > out.width - 2 * MARGIN:
        words = words[:-2].rstrip(" .,…") + "…"
    draw.text((out.width / 2, cut + 122), words, (255, 255, 255), font(24), anchor="mm")
    draw.rectangle([0, 0, out.width - 1, out.height - 1], outline=ALARM, width=14)
    return out


def save(page: Image.Image, path: Path) -> str:
    """Write a PNG whose bytes depend on the drawing alone; returns the file's name."""
    page.save(path, format="PNG", compress_level=2)
    return path.name
