"""All pictures of a build, written as PNG files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Literal, Protocol

from PIL import Image

from shellgen.export.write import file_stem
from shellgen.mold.mold import Mold, Part
from shellgen.sheet import paper
from shellgen.sheet.pull_view import draw_from_pull
from shellgen.sheet.section_view import draw_section
from shellgen.sheet.solid_views import draw_assembled, draw_exploded


class Check(Protocol):
    """What a picture needs to know of a check."""

    @property
    def title(self) -> str:
        """What was checked."""
        ...

    @property
    def status(self) -> Literal["pass", "warn", "fail"]:
        """How it came out."""
        ...


def draw_pages(mold: Mold) -> list[tuple[str, Image.Image]]:
    """Draw assembled, exploded, section and each shell piece from its pull: pages with their file names."""
    drawings: list[tuple[str, Callable[[], Image.Image]]] = [
        ("assembled.png", lambda: draw_assembled(mold)),
        ("exploded.png", lambda: draw_exploded(mold)),
        ("section.png", lambda: draw_section(mold)),
    ]
    for part in mold.parts:
        if part.kind == "shell":
            drawings.append((f"{file_stem(part.name)}-from-pull.png", _from_pull(mold, part)))
    with ThreadPoolExecutor(2) as pool:
        pages = pool.map(lambda drawing: drawing[1](), drawings)
        return [(name, page) for (name, _), page in zip(drawings, pages, strict=True)]


def save_pages(pages: Sequence[tuple[str, Image.Image]], checks: Sequence[Check], folder: Path) -> list[str]:
    """Write pages into `folder` as PNG; returns the file names. The same pages and checks give the same bytes.

    Where a check failed, DO NOT MAKE stands across every picture.
    """
    failed = [check.title for check in checks if check.status == "fail"]
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(lambda page: paper.save(paper.banner(page[1], failed), folder / page[0]), pages))


def _from_pull(mold: Mold, part: Part) -> Callable[[], Image.Image]:
    """The drawing of one piece, yet to be made."""
    return lambda: draw_from_pull(mold, part)
