"""The stroke font: sizes and areas by hand, no overlaps, engraving seen by an independent kernel."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.ops import unary_union

from shellgen.errors import DesignError
from shellgen.mold.labels import GLYPHS, PEN, text_polygons, text_prisms, text_width_mm


@pytest.mark.parametrize("glyph", sorted(GLYPHS))
def test_each_glyph_fits_its_line_with_few_vertices(glyph: str) -> None:
    area = text_polygons(glyph, 10.0)
    left, low, right, high = area.bounds
    assert area.is_valid and left == pytest.approx(0.0, abs=1e-9)
    assert low >= -1e-9 and high <= 10.0 + 1e-9 and right <= 10.0
    assert sum(len(ring.coords) - 1 for p in area.geoms for ring in (p.exterior, *p.interiors)) <= 64


@pytest.mark.parametrize("glyph", [c for c in sorted(GLYPHS) if c.isalnum()])
def test_letters_stand_exactly_as_high_as_asked(glyph: str) -> None:
    _, low, _, high = text_polygons(glyph, 25.0).bounds
    assert low == pytest.approx(0.0, abs=0.15) and high == pytest.approx(25.0, abs=0.15)


def test_stroke_i_is_a_stadium() -> None:
    # area of a stadium: length * width + pi (width / 2)^2; its round ends are drawn as quarter chords of 45 degrees,
    # an octagon half: area 2 sqrt(2) r^2 instead of pi r^2 (both ends together)
    height, width = 40.0, 40.0 * PEN
    by_hand = (height - width) * width + 2 * math.sqrt(2) * (width / 2) ** 2
    assert text_polygons("I", height).area == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize("glyph", ["L", "T", "Z"])
def test_area_of_straight_letters_follows_from_pen_and_length(glyph: str) -> None:
    # length of the pen's path times its width, less the overlap at corners (at most one pen square each), plus two ends
    unit = 30.0 * (1 - PEN) / 6
    length = unit * {"L": 6 + 3.5, "T": 4 + 6, "Z": 4 + 4 + math.hypot(4, 6)}[glyph]
    pen = 30.0 * PEN
    assert text_polygons(glyph, 30.0).area == pytest.approx(length * pen, abs=1.5 * pen**2)


@given(st.text(alphabet=GLYPHS + " abcxyz#é", min_size=1, max_size=12), st.floats(1.0, 80.0))
def test_areas_of_one_text_never_overlap(text: str, height: float) -> None:
    areas = list(text_polygons(text, height).geoms)
    assert unary_union(areas).area == pytest.approx(sum(a.area for a in areas), rel=1e-9)
    for i, one in enumerate(areas):
        assert all(one.distance(other) > 0 for other in areas[i + 1 :])


def test_lowercase_is_upcased_and_the_unknown_is_a_box() -> None:
    assert text_polygons("gate", 9.0).equals(text_polygons("GATE", 9.0))
    box = text_polygons("%", 9.0)
    assert len(box.geoms) == 1 and len(box.geoms[0].interiors) == 1
    assert box.equals(text_polygons("§", 9.0))


def test_blank_text_draws_nothing() -> None:
    assert text_polygons("  ", 5.0).is_empty and text_width_mm("", 5.0) == 0.0
    assert text_prisms("", 5.0, (0, 0, 0), (1, 0, 0), (0, 1, 0), 1.0) == ()


def test_same_text_same_numbers_and_twice_the_height_twice_the_size() -> None:
    assert text_polygons("AB 1/4", 7.0).wkb == text_polygons("AB 1/4", 7.0).wkb
    assert text_width_mm("AB 1/4", 14.0) == pytest.approx(2 * text_width_mm("AB 1/4", 7.0), rel=1e-12)
    assert text_polygons("AB 1/4", 14.0).area == pytest.approx(4 * text_polygons("AB 1/4", 7.0).area, rel=1e-12)


@pytest.mark.parametrize("height", [0.0, -3.0, math.nan, math.inf])
def test_height_must_be_positive(height: float) -> None:
    with pytest.raises(DesignError, match="letter height"):
        text_polygons("A", height)


def test_engraving_takes_area_times_depth_out_of_a_plate() -> None:
    manifold3d = pytest.importorskip("manifold3d")
    depth, top = 0.8, 5.0
    prisms = text_prisms("PART B 08", 9.0, (4.0, 6.0, top - depth), (1, 0, 0), (0, 1, 0), depth + 0.5)
    plate = manifold3d.Manifold.cube((90.0, 20.0, top))
    cut = plate
    for prism in prisms:
        rings = [np.array(prism.outer), *(np.array(hole) for hole in prism.holes)]
        section = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
        cut -= manifold3d.Manifold.extrude(section, prism.length_mm).translate(prism.origin)
    area = text_polygons("PART B 08", 9.0).area
    assert plate.volume() - cut.volume() == pytest.approx(area * depth, rel=1e-6)
    assert cut.genus() == 0  # nothing bored through


def test_rings_are_open_and_turn_as_the_recipe_wants() -> None:
    for prism in text_prisms("O8B", 10.0, (0, 0, 0), (1, 0, 0), (0, 1, 0), 1.0):
        assert prism.outer[0] != prism.outer[-1]
        assert _area(prism.outer) > 0
        assert all(_area(hole) < 0 for hole in prism.holes)


def _area(ring: tuple[tuple[float, float], ...]) -> float:
    x, y = np.array(ring).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
