"""Engraved lettering: a stroke font of our own, drawn as polygons and pushed as prisms. Lengths mm.

Each glyph is a handful of pen strokes on a grid 6 high. A stroke is a row of points (x, y) or (x, y, r): r rounds the
corner there. The pen is round and 0.14 of the letter height wide, so a ball-nose cutter or a nozzle can follow it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from shapely.affinity import affine_transform
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.polygon import orient
from shapely.ops import unary_union

from shellgen.errors import DesignError
from shellgen.solid.recipe import Point, Prism

PEN = 0.14
"""Stroke width over letter height: common practice for engraved signs is 1/6 to 1/8, no source."""

_GRID = 6.0
_PEN_UNITS = _GRID * PEN / (1.0 - PEN)
_GAP_UNITS = 1.7 * _PEN_UNITS
_SPACE_UNITS = 2.6
_STEP_DEG = 30.0
_QUAD_SEGMENTS = 2

_Stroke = tuple[tuple[float, ...], ...]

_GLYPHS: dict[str, tuple[_Stroke, ...]] = {
    "A": (((0, 0), (2, 6), (4, 0)), ((0.7, 2.1), (3.3, 2.1))),
    "B": (((0, 0), (0, 6), (3.7, 6, 1.4), (3.7, 3.1, 1.4), (0, 3.1)), ((2.2, 3.1), (4, 3.1, 1.5), (4, 0, 1.5), (0, 0))),
    "C": (((4, 4.6), (4, 6, 1.9), (0, 6, 1.9), (0, 0, 1.9), (4, 0, 1.9), (4, 1.4)),),
    "D": (((0, 0), (0, 6), (4, 6, 2.2), (4, 0, 2.2), (0, 0)),),
    "E": (((3.6, 0), (0, 0), (0, 6), (3.6, 6)), ((0, 3.1), (3, 3.1))),
    "F": (((0, 0), (0, 6), (3.6, 6)), ((0, 3.1), (3, 3.1))),
    "G": (((4, 4.7), (4, 6, 1.9), (0, 6, 1.9), (0, 0, 1.9), (4, 0, 1.9), (4, 2.7), (2.4, 2.7)),),
    "H": (((0, 0), (0, 6)), ((4, 0), (4, 6)), ((0, 3.1), (4, 3.1))),
    "I": (((0, 0), (0, 6)),),
    "J": (((3.2, 6), (3.2, 0, 1.6), (0, 0, 1.6), (0, 1.6)),),
    "K": (((0, 0), (0, 6)), ((3.8, 6), (0, 2.3)), ((1.5, 3.7), (4, 0))),
    "L": (((0, 6), (0, 0), (3.5, 0)),),
    "M": (((0, 0), (0, 6), (2.4, 2.2), (4.8, 6), (4.8, 0)),),
    "N": (((0, 0), (0, 6), (4, 0), (4, 6)),),
    "O": (((2, 0), (4, 0, 1.9), (4, 6, 1.9), (0, 6, 1.9), (0, 0, 1.9), (2, 0)),),
    "P": (((0, 0), (0, 6), (4, 6, 1.6), (4, 2.7, 1.6), (0, 2.7)),),
    "Q": (((2, 0), (4, 0, 1.9), (4, 6, 1.9), (0, 6, 1.9), (0, 0, 1.9), (2, 0)), ((2.5, 1.7), (4.2, 0))),
    "R": (((0, 0), (0, 6), (4, 6, 1.6), (4, 2.7, 1.6), (0, 2.7)), ((2.1, 2.7), (4, 0))),
    "S": (
        (
            (3.9, 4.8),
            (3.9, 6, 1.45),
            (0.1, 6, 1.45),
            (0.1, 3.1, 1.45),
            (4, 3.1, 1.5),
            (4, 0, 1.5),
            (0, 0, 1.5),
            (0, 1.25),
        ),
    ),
    "T": (((0, 6), (4, 6)), ((2, 6), (2, 0))),
    "U": (((0, 6), (0, 0, 2), (4, 0, 2), (4, 6)),),
    "V": (((0, 6), (2, 0), (4, 6)),),
    "W": (((0, 6), (1.3, 0), (2.6, 4.2), (3.9, 0), (5.2, 6)),),
    "X": (((0, 0), (4, 6)), ((0, 6), (4, 0))),
    "Y": (((0, 6), (2, 2.9), (4, 6)), ((2, 2.9), (2, 0))),
    "Z": (((0, 6), (4, 6), (0, 0), (4, 0)),),
    "0": (((1.8, 0), (3.6, 0, 1.8), (3.6, 6, 1.8), (0, 6, 1.8), (0, 0, 1.8), (1.8, 0)), ((1.25, 2.2), (2.35, 3.8))),
    "1": (((0, 4.5), (1.5, 6), (1.5, 0)), ((0.1, 0), (2.9, 0))),
    "2": (((0, 4.4), (0, 6, 1.7), (3.7, 6, 1.7), (3.7, 3.4, 1.2), (0, 0), (3.8, 0)),),
    "3": (((0, 6), (3.6, 6), (1.7, 3.6), (3.8, 3.6, 1.6), (3.8, 0, 1.6), (0, 0, 1.4), (0, 1.1)),),
    "4": (((2.9, 0), (2.9, 6), (0, 1.8), (4, 1.8)),),
    "5": (((3.6, 6), (0.3, 6), (0.1, 3.6), (3.8, 3.6, 1.7), (3.8, 0, 1.7), (0, 0, 1.4), (0, 1)),),
    "6": (((3.4, 6), (0, 6, 2.4), (0, 0, 1.8), (3.8, 0, 1.8), (3.8, 3.5, 1.7), (0, 3.5, 1.4), (0, 2)),),
    "7": (((0, 6), (3.8, 6), (1.3, 0)),),
    "8": (
        ((1.9, 3.15), (3.6, 3.15, 1.35), (3.6, 6, 1.4), (0.2, 6, 1.4), (0.2, 3.15, 1.35), (1.9, 3.15)),
        ((1.9, 3.15), (3.8, 3.15, 1.5), (3.8, 0, 1.55), (0, 0, 1.55), (0, 3.15, 1.5), (1.9, 3.15)),
    ),
    "9": (((0.4, 0), (3.8, 0, 2.4), (3.8, 6, 1.8), (0, 6, 1.8), (0, 2.5, 1.7), (3.8, 2.5, 1.4), (3.8, 4)),),
    "-": (((0, 3), (2.2, 3)),),
    ".": (((0, 0), (0, 0.01)),),
    "_": (((0, 0), (3.6, 0)),),
    "/": (((0, 0), (2.6, 6)),),
    "+": (((0, 3), (3.4, 3)), ((1.7, 1.3), (1.7, 4.7))),
    "→": (((0, 3), (5, 3)), ((3.1, 4.9), (5, 3), (3.1, 1.1))),
    "↑": (((1.9, 0), (1.9, 6)), ((0, 4.1), (1.9, 6), (3.8, 4.1))),
}
_BOX: tuple[_Stroke, ...] = (((0, 1.4), (2.6, 1.4), (2.6, 4.6), (0, 4.6), (0, 1.4)),)

GLYPHS = "".join(_GLYPHS)
"""All characters that have a glyph, the space apart."""


def text_polygons(text: str, height_mm: float) -> MultiPolygon:
    """Letters as closed areas: the first starts at x = 0, all lie within 0 <= y <= height_mm.

    Lowercase is drawn as uppercase; a character without a glyph becomes a small box. Areas of one text never overlap.
    Raises DesignError where the height is not positive.

    >>> [round(v, 3) for v in text_polygons("I", 10.0).bounds]
    [0.0, 0.0, 1.4, 10.0]
    """
    if not (height_mm > 0 and math.isfinite(height_mm)):
        raise DesignError(f"label {text!r}: letter height {height_mm} mm; give a height above 0.")
    scale = height_mm * (1.0 - PEN) / _GRID
    pen_x = 0.0
    areas: list[Polygon] = []
    for character in text.upper():
        if character == " ":
            pen_x += _SPACE_UNITS
            continue
        glyph, width = _glyph(character)
        moved = affine_transform(glyph, (scale, 0, 0, scale, scale * pen_x, 0.0))
        areas.extend(orient(area) for area in moved.geoms)
        pen_x += width + _GAP_UNITS
    return MultiPolygon(areas)


def text_width_mm(text: str, height_mm: float) -> float:
    """Width of a text from its first to its last letter's edge (0 for blanks)."""
    drawn = text_polygons(text.strip(), height_mm)
    return 0.0 if drawn.is_empty else float(drawn.bounds[2])


def text_prisms(
    text: str, height_mm: float, origin: Point, x_axis: Point, y_axis: Point, depth_mm: float
) -> tuple[Prism, ...]:
    """The letters as prisms of length `depth_mm` along cross(x_axis, y_axis), one per closed area.

    origin : lower left corner of the text. x_axis, y_axis : unit vectors, reading direction and up, as the reader sees
    them from outside the face; their cross product then points out of the material.
    To engrave d deep: put `origin` d below the face (face point − d · outward normal), pass depth_mm = d + 0.5 so that
    the prisms stand 0.5 proud of the face and leave no film, and cut them. To emboss: `origin` 0.5 below the face,
    depth_mm = height above it + 0.5, and add them. Mirrored letters mean that the axes are the wrong way round.
    """
    return tuple(
        Prism(
            outer=_ring(area.exterior.coords),
            holes=tuple(_ring(hole.coords) for hole in area.interiors),
            origin=origin,
            x_axis=x_axis,
            y_axis=y_axis,
            length_mm=depth_mm,
        )
        for area in text_polygons(text, height_mm).geoms
    )


def _ring(coords: Sequence[tuple[float, ...]]) -> tuple[tuple[float, float], ...]:
    """Coordinates without the repeated end point."""
    return tuple((float(c[0]), float(c[1])) for c in coords[:-1])


@lru_cache(maxsize=256)
def _glyph(character: str) -> tuple[MultiPolygon, float]:
    """A character's area in grid units with its lower left corner at the origin, and its width."""
    strokes = _GLYPHS.get(character, _BOX)
    lines = [LineString(_rounded(stroke)) for stroke in strokes]
    area = unary_union([line.buffer(_PEN_UNITS / 2, quad_segs=_QUAD_SEGMENTS) for line in lines]).simplify(0.035)
    left, _, right, _ = area.bounds
    placed = affine_transform(area, (1, 0, 0, 1, -left, _PEN_UNITS / 2))
    parts = placed.geoms if isinstance(placed, MultiPolygon) else (placed,)
    return MultiPolygon(list(parts)), float(right - left)


def _rounded(stroke: _Stroke) -> list[tuple[float, float]]:
    """Points of a stroke with its marked corners turned into arcs, one chord per 30 degrees of turn at the most."""
    out: list[tuple[float, float]] = [(stroke[0][0], stroke[0][1])]
    for before, corner, after in zip(stroke, stroke[1:], stroke[2:], strict=False):
        radius = corner[2] if len(corner) == 3 else 0.0
        at = (corner[0], corner[1])
        u, v = _unit(at, before), _unit(at, after)
        half = 0.5 * math.acos(max(-1.0, min(1.0, u[0] * v[0] + u[1] * v[1])))
        if radius == 0.0 or half > math.radians(89):
            out.append(at)
            continue
        reach, turn = radius / math.tan(half), math.pi - 2 * half
        middle = _unit((0.0, 0.0), (u[0] + v[0], u[1] + v[1]))
        centre = (at[0] + middle[0] * radius / math.sin(half), at[1] + middle[1] * radius / math.sin(half))
        start = (at[0] + u[0] * reach - centre[0], at[1] + u[1] * reach - centre[1])
        sign = 1.0 if u[0] * v[1] - u[1] * v[0] < 0 else -1.0
        chords = max(1, math.ceil(math.degrees(turn) / _STEP_DEG))
        for k in range(chords + 1):
            a = sign * turn * k / chords
            out.append(
                (
                    centre[0] + start[0] * math.cos(a) - start[1] * math.sin(a),
                    centre[1] + start[0] * math.sin(a) + start[1] * math.cos(a),
                )
            )
    out.append((stroke[-1][0], stroke[-1][1]))
    return out


def _unit(origin: tuple[float, float], to: tuple[float, ...]) -> tuple[float, float]:
    """Unit vector between two points."""
    dx, dy = to[0] - origin[0], to[1] - origin[1]
    length = math.hypot(dx, dy)
    return dx / length, dy / length
