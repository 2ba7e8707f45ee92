"""Cut faces as drawn by hand: a flat tint, fine hatching that leans the other way in the next part, an outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Mold
from shellgen.sheet import paper
from shellgen.sheet.cast import shown_name
from shellgen.sheet.paper import Colour, Spot
from shellgen.sheet.section import Plane, ring_area
from shellgen.solid.recipe import PieceRecipe, transform

_FINE = 2
_PITCH = 26

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """What one part shows in a section: rings (k, 2) in mm of the plane, material on the left."""

    name: str
    kind: str
    colour: Colour
    rings: tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A name for a place on the page."""

    name: str
    colour: Colour
    at: Spot


def paint(page: Image.Image, layers: list[Layer], plane: Plane, place: Spot, scale: float, mold: Mold) -> list[Mark]:
    """Paint cut faces on a page; returns their names with a pixel near their right ends, the flange for itself.

    place : pixel of the plane's origin, scale : mm per pixel.
    """
    points = np.vstack([ring for layer in layers for ring in layer.rings])
    left, right = int(place[0] + points[:, 0].min() / scale) - 4, int(place[0] + points[:, 0].max() / scale) + 5
    top, bottom = int(place[1] - points[:, 1].max() / scale) - 4, int(place[1] - points[:, 1].min() / scale) + 5
    origin = ((place[0] - left) * _FINE, (place[1] - top) * _FINE)
    size = ((right - left) * _FINE, (bottom - top) * _FINE)
    sheet = np.full((size[1], size[0], 3), paper.PAPER, np.uint8)
    rows, columns = np.indices(sheet.shape[:2], sparse=True)
    recipes = {piece.name: piece for piece in mold.design.pieces}
    shells = 0
    marks: list[Mark] = []
    for number, layer in enumerate(layers):
        mask = _filled(layer.rings, origin, scale, size)
        sheet[mask] = layer.colour
        wall = mask
        if layer.kind in ("shell", "lid", "spacer"):
            lean = columns + rows if shells % 2 == 0 else columns - rows
            shells += layer.kind == "shell"
            _tone(sheet, mask & (lean % _PITCH < 2), 0.62)
            if layer.name in recipes:
                flange = _flange(mask, recipes[layer.name], plane, origin, scale)
                _tone(sheet, flange, 0.90)
                marks += _marked("flange", paper.PAPER, flange, (left, top), 0.36)
                wall = mask & ~flange
                _tone(sheet, flange & ((lean + _PITCH // 2) % _PITCH < 2), 0.62)
        elif layer.kind == "pattern":
            _tone(sheet, mask & (_dots(columns, rows) | _dots(columns + 14, rows + 14)), 0.72)
        marks += _marked(shown_name(layer.name, layer.kind), layer.colour, wall, (left, top), 0.48 + 0.12 * number)
    image = Image.fromarray(sheet)
    draw = ImageDraw.Draw(image)
    for layer in layers:
        for ring in layer.rings:
            closed = np.vstack([ring, ring[:1]]) / scale * _FINE * (1, -1) + origin
            draw.line([(float(x), float(y)) for x, y in closed], paper.INK, 3, joint="curve")
    page.paste(image.reduce(_FINE), (left, top))
    flanges = [mark for mark in marks if mark.name == "flange"]
    return [mark for mark in marks if mark.name != "flange"] + sorted(flanges, key=lambda mark: -mark.at[0])[:1]


def _dots(columns: npt.NDArray[np.intp], rows: npt.NDArray[np.intp]) -> BoolArray:
    """Small squares on a square lattice."""
    dots: BoolArray = (columns % 28 < 3) & (rows % 28 < 3)
    return dots


def _filled(rings: tuple[FloatArray, ...], origin: Spot, scale: float, size: tuple[int, int]) -> BoolArray:
    """Where there is material: outer rings filled, holes emptied, larger ones first."""
    image = Image.new("L", size)
    draw = ImageDraw.Draw(image)
    for ring in sorted(rings, key=lambda r: -abs(ring_area(r))):
        spots = ring / scale * _FINE * (1, -1) + origin
        draw.polygon([(float(x), float(y)) for x, y in spots], fill=255 if ring_area(ring) > 0 else 0)
    return np.asarray(image) > 0


def _tone(sheet: npt.NDArray[np.uint8], mask: BoolArray, factor: float) -> None:
    """Darken where the mask is set."""
    sheet[mask] = (sheet[mask] * factor).astype(np.uint8)


def _flange(mask: BoolArray, piece: PieceRecipe, plane: Plane, origin: Spot, scale: float) -> BoolArray:
    """Where the piece's material stands outside its wall: above the outside envelope, seen in its pull frame."""
    rows, columns = np.nonzero(mask)
    u, v = (columns + (0.5 - origin[0])) * (scale / _FINE), (origin[1] - 0.5 - rows) * (scale / _FINE)
    mold_to_pull: FloatArray = np.linalg.inv(piece.pull_to_mold).astype(np.float64)
    start, along, upwards = transform(plane.to_mold(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])), mold_to_pull)
    x, y, z = (start[k] + (along - start)[k] * u + (upwards - start)[k] * v for k in range(3))
    out = np.zeros_like(mask)
    out[rows, columns] = z > piece.outside.at(x, y) + 0.05
    return out


def _marked(name: str, colour: Colour, mask: BoolArray, corner: Spot, height: float) -> list[Mark]:
    """A mark in the middle of a mask's rightmost run, on its row nearest to a share of the sheet's height.

    None where the mask is under a two-hundredth of the sheet.
    """
    if np.count_nonzero(mask) < 0.005 * mask.size:
        return []
    rows = np.flatnonzero(mask.any(1))
    row = int(rows[np.argmin(np.abs(rows - height * mask.shape[0]))])
    columns = np.flatnonzero(mask[row])
    breaks = np.flatnonzero(np.diff(columns) > 1)
    start = columns[breaks[-1] + 1] if len(breaks) else columns[0]
    column = (int(start) + int(columns[-1])) / 2
    return [Mark(name, colour, (corner[0] + column / _FINE, corner[1] + row / _FINE))]
