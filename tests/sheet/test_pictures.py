"""All pictures of a mold: written, silent, the same every time, and showing what they say."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from ball_shell import BOLTS, FLANGE, RUBBER, WALL
from PIL import Image

from shellgen.mold.mold import Mold
from shellgen.sheet import paper
from shellgen.sheet.pictures import draw_pages, save_pages
from shellgen.sheet.pull_view import KEY_INK
from shellgen.sheet.section import area_of
from shellgen.sheet.section_view import cutting_planes, measured, slices

NAMES = ["assembled.png", "exploded.png", "section.png", "A-from-pull.png", "B-from-pull.png"]


@dataclass(frozen=True)
class Said:
    title: str
    status: str


@pytest.fixture(scope="module")
def drawn(ball_mold: Mold, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pictures")
    assert save_pages(draw_pages(ball_mold), [Said("bed", "warn"), Said("wall", "pass")], folder) == NAMES
    return folder


def _pixels(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def _share(pixels: np.ndarray, colour: tuple[int, int, int], tolerance: int = 2) -> float:
    return float((np.abs(pixels - colour).max(2) <= tolerance).mean())


def test_every_picture_is_a_whole_page(drawn: Path) -> None:
    assert sorted(path.name for path in drawn.iterdir()) == sorted(NAMES)
    for name in NAMES:
        assert Image.open(drawn / name).size == paper.SIZE
        assert 0.3 < _share(_pixels(drawn / name), paper.PAPER) < 0.9


def test_same_mold_same_bytes_and_no_clock_inside(drawn: Path, ball_mold: Mold, tmp_path: Path, capfd) -> None:
    save_pages(draw_pages(ball_mold), [], tmp_path)
    captured = capfd.readouterr()
    assert captured.out == "" and captured.err == ""
    for name in NAMES:
        data = (tmp_path / name).read_bytes()
        assert data == (drawn / name).read_bytes()
        at, kinds = 8, []
        while at < len(data):  # chunks of a PNG: length, kind, data, checksum
            (length,) = struct.unpack(">I", data[at : at + 4])
            kinds.append(data[at + 4 : at + 8])
            at += 12 + length
        assert set(kinds) == {b"IHDR", b"IDAT", b"IEND"}


def test_a_failed_check_shouts_on_every_picture(drawn: Path, ball_mold: Mold, tmp_path: Path) -> None:
    save_pages(draw_pages(ball_mold), [Said("rubber thickness", "fail"), Said("wall", "pass")], tmp_path)
    for name in NAMES:
        assert _share(_pixels(tmp_path / name), paper.ALARM) > 0.06
        assert _share(_pixels(drawn / name), paper.ALARM) == 0.0


def test_the_room_is_seen_and_every_bolt_hole_is_open(drawn: Path) -> None:
    # looking along the pull through six bolt holes, each shows paper inside its ring of ink
    from scipy.ndimage import label

    pixels = _pixels(drawn / "A-from-pull.png")[130:1000]
    blobs, count = label((np.abs(pixels - paper.PAPER).max(2) <= 2) & np.ones(pixels.shape[:2], bool))
    sizes = np.bincount(blobs.ravel())[1:]
    quarters = [size for size in sizes if 80 < size < 700]  # cross hairs part each hole in four
    assert count > 4 and len(quarters) == 4 * BOLTS


def test_section_planes_cross_the_parting_and_lie_along_it(ball_mold: Mold) -> None:
    (across, _), (along, words) = cutting_planes(ball_mold)
    assert abs(float(across.axes[2] @ (0.0, 1.0, 0.0))) < 1e-9
    assert abs(float(along.axes[2] @ (0.0, 1.0, 0.0))) == pytest.approx(1.0)
    assert along.origin[1] == pytest.approx(FLANGE / 2, abs=0.06) and "half a flange" in words


def test_thicknesses_in_the_section_are_those_of_the_mold(ball_mold: Mold) -> None:
    plane = cutting_planes(ball_mold)[0][0]
    found = {words: gauge.length_mm for words, gauge in measured(ball_mold, plane, slices(ball_mold, plane))}
    assert found["rubber"] == pytest.approx(RUBBER, abs=0.1)  # the same all round, so one figure
    assert found["wall, least"] == pytest.approx(WALL, abs=0.15)


def test_section_areas_follow_from_the_radii(ball_mold: Mold) -> None:
    areas = {
        layer.name: area_of(list(layer.rings)).area for layer in slices(ball_mold, cutting_planes(ball_mold)[0][0])
    }
    assert areas["pattern"] == pytest.approx(np.pi * 40.0**2, rel=2e-3)
    assert areas["jacket"] == pytest.approx(np.pi * (48.0**2 - 40.0**2), rel=2e-3)
    assert areas["A"] > np.pi / 2 * (54.0**2 - 48.0**2)


def test_each_material_has_its_colour_in_the_section(drawn: Path) -> None:
    pixels = _pixels(drawn / "section.png")[140:1040]
    shares = [_share(pixels, colour) for colour in (paper.PATTERN, paper.RUBBER, paper.SHELLS[0])]
    assert all(share > 0.01 for share in shares)


@pytest.mark.parametrize(("name", "right"), [("A-from-pull.png", True), ("B-from-pull.png", False)])
def test_each_piece_is_seen_from_the_parting(drawn: Path, name: str, right: bool) -> None:
    # the key lies at x = +64; who looks along A's pull (+y) with z up has +x to the right, along B's to the left
    pixels = _pixels(drawn / name)[130:1000]
    _, columns = np.nonzero(np.abs(pixels - KEY_INK).max(2) <= 2)
    assert len(columns) > 100 and (columns.mean() > paper.SIZE[0] / 2) == right
