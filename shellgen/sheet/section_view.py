"""The section picture: the mold cut across its parting and along it, in flat colours, with measured thicknesses."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Mold
from shellgen.sheet import cast, paper
from shellgen.sheet.hatch import Layer, paint
from shellgen.sheet.measure import Gauge, flange_gauge, rubber_gauges, wall_gauge
from shellgen.sheet.paper import Colour, Spot
from shellgen.sheet.section import Plane, area_of, slice_mesh
from shellgen.sheet.strokes import Strokes
from shellgen.sheet.tags import Tag, draw_tags
from shellgen.solid.recipe import Frustum, Role, transform

_ROOM = (paper.MARGIN + 245, 180, paper.SIZE[0] - paper.MARGIN - 130, paper.SIZE[1] - 150)
_BETWEEN = 80
_GAUGE: Colour = (176, 30, 60)


def draw_section(mold: Mold) -> Image.Image:
    """Two sections side by side at one scale."""
    page = paper.blank()
    strokes = Strokes()
    planes = cutting_planes(mold)
    cuts = [slices(mold, plane) for plane, _ in planes]
    spans = [np.ptp(_bounds(layers), axis=0) for layers in cuts]
    free = _ROOM[2] - _ROOM[0] - _BETWEEN
    scale = float(max(sum(s[0] for s in spans) / free, max(s[1] for s in spans) / (_ROOM[3] - _ROOM[1]), 1e-9))
    gap = (free - sum(s[0] for s in spans) / scale) / 3
    x = _ROOM[0] + gap
    for number, ((plane, words), layers, span) in enumerate(zip(planes, cuts, spans, strict=True)):
        wide = float(span[0]) / scale
        place = _placed(layers, (x, x + wide), scale)
        marks = paint(page, layers, plane, place, scale, mold)
        _board(mold, plane, layers, place, scale, strokes)
        _bolt_axes(mold, plane, place, scale, strokes)
        if number == 0:
            tags = _gauges(mold, plane, layers, place, scale, strokes)
            draw_tags(page, strokes, tags, (paper.MARGIN, 150, int(x + wide), paper.SIZE[1] - 130))
        else:
            tags = [Tag(mark.name, mark.at, mark.colour, "right") for mark in marks]
            draw_tags(page, strokes, tags, (int(x), 150, paper.SIZE[0] - paper.MARGIN, paper.SIZE[1] - 130))
        ImageDraw.Draw(page).text((x + wide / 2, 130), words, paper.INK, paper.font(22), anchor="ms")
        x += wide + _BETWEEN + gap
    strokes.ink(page)
    paper.title(page, mold.design.settings.name, "section", "thicknesses as measured in the left section")
    paper.legend(page, [("pattern", paper.PATTERN), *cast.legend_of(mold, mold.parts)])
    paper.scale_bar(page, scale)
    return page


def cutting_planes(mold: Mold) -> list[tuple[Plane, str]]:
    """Across the parting through the middle of the pattern, and along the parting, each with its caption.

    Two halves: the first holds the pull, the second lies half a flange thickness inside the first piece. Other kinds:
    level at half height, where all pieces show, and upright, 15 degrees off the first pull, clear of other partings.
    All planes stand 0.05 mm off their place, so that they cannot fall together with a face of the mold.
    """
    skin = mold.design.pattern.skin.vertices_mm
    middle = (skin.min(0) + skin.max(0)) / 2
    pulls = [np.array(part.pull) for part in cast.rigid_in_order(mold) if part.kind == "shell" and part.pull]
    first = pulls[0] if pulls else np.array([0.0, 1.0, 0.0])
    upright, x, y = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    lies = abs(first[2]) > 0.9
    if len(pulls) == 2 and float(pulls[0] @ pulls[1]) < -0.99:
        half = 0.5 * (mold.design.settings.flange.thickness_mm or 0.0)
        inside = _parting_middle(mold, first, middle) + half * first
        along = _plane(inside, x, y) if lies else _plane(inside, np.cross(upright, first), upright)
        across = _plane(middle, x if lies else first, upright)
        return [(across, "across the parting"), (along, "along the parting, half a flange deep")]
    turn = np.radians(15.0)
    level = x if lies else first * (1.0, 1.0, 0.0) / np.hypot(first[0], first[1])
    beside = np.cos(turn) * level + np.sin(turn) * np.cross(upright, level)
    return [
        (_plane(middle, x, y), "level, at half height"),
        (_plane(middle, beside, upright), "upright, 15 degrees off the first pull"),
    ]


def _parting_middle(mold: Mold, pull: FloatArray, middle: FloatArray) -> FloatArray:
    """The pattern's middle moved along the pull to the parting, as far as the flange bolts tell where that is."""
    seats = [np.mean(bolt.seats_mm, axis=0) for bolt in mold.design.bolts if bolt.setup == "closing"]
    along = float(np.median([seat @ pull for seat in seats])) if seats else float(middle @ pull)
    moved: FloatArray = middle + (along - float(middle @ pull)) * pull
    return moved


def _plane(origin: FloatArray, right: FloatArray, up: FloatArray) -> Plane:
    """A plane with unit axes at right angles, `right` kept, moved by a hair along its normal."""
    r = right / np.linalg.norm(right)
    u = up - float(up @ r) * r
    u /= np.linalg.norm(u)
    return Plane(cast.as_point(origin + 0.05 * np.cross(r, u)), cast.as_point(r), cast.as_point(u))


def slices(mold: Mold, plane: Plane) -> list[Layer]:
    """What the plane cuts: the pattern first, then every part, in order."""
    skin = mold.design.pattern.skin
    colours = cast.part_colours(mold)
    layers = [Layer("pattern", "pattern", paper.PATTERN, tuple(slice_mesh(skin.vertices_mm, skin.faces, plane)))]
    for part in mold.parts:
        rings = tuple(slice_mesh(part.vertices_mm, part.faces, plane))
        layers.append(Layer(part.name, part.kind, colours[part.name], rings))
    return [layer for layer in layers if layer.rings]


def _bounds(layers: list[Layer]) -> FloatArray:
    """(2, 2) least and greatest corner of all rings."""
    points = np.vstack([ring for layer in layers for ring in layer.rings] or [np.array([[-1.0, -1.0], [1.0, 1.0]])])
    return np.array([points.min(0), points.max(0)])


def _placed(layers: list[Layer], reach_px: tuple[float, float], scale: float) -> Spot:
    """The pixel of the plane's origin, so that the cut stands in the middle of its reach across."""
    x, y = _bounds(layers).mean(0)
    return sum(reach_px) / 2 - x / scale, (_ROOM[1] + _ROOM[3]) / 2 + y / scale


def _board(mold: Mold, plane: Plane, layers: list[Layer], place: Spot, scale: float, strokes: Strokes) -> None:
    """The board's surface with strokes of ground below it, where the plane stands upright on it."""
    floor = _floor(mold, plane)
    if floor is None:
        return
    low, high = _bounds(layers)
    y = place[1] - floor / scale
    left, right = place[0] + low[0] / scale - 16, place[0] + high[0] / scale + 16
    strokes.line([(left, y), (right, y)], paper.BOARD_LINE, 2.5)
    if not cast.has_lid(mold):
        for x in np.arange(left, right - 6, 14.0):
            strokes.line([(float(x), y + 11), (float(x) + 10, y + 1)], paper.BOARD_LINE, 1.2)


def _floor(mold: Mold, plane: Plane) -> float | None:
    """Where the board lies in the plane's second coordinate; None without a board or for a level plane."""
    if mold.design.pattern.mount == "none" or plane.up[2] < 0.9:
        return None
    return -plane.origin[2] / plane.up[2]


def _bolt_axes(mold: Mold, plane: Plane, place: Spot, scale: float, strokes: Strokes) -> None:
    """Centre lines of the bolts that the plane meets: along those that lie in it, crosses over those it crosses."""
    for bolt in mold.design.bolts:
        ends = plane.to_plane(np.array(bolt.seats_mm))
        spots = [(place[0] + float(p[0]) / scale, place[1] - float(p[1]) / scale) for p in ends]
        if np.abs(ends[:, 2]).max() < 0.5 * bolt.hole_mm:
            (x0, y0), (x1, y1) = spots
            more = 10.0 / max(np.hypot(x1 - x0, y1 - y0), 1e-9)
            start, end = (x0 - more * (x1 - x0), y0 - more * (y1 - y0)), (x1 + more * (x1 - x0), y1 + more * (y1 - y0))
            strokes.dashed(start, end, paper.INK, 1.2, 12.0, 4.0)
        elif ends[0, 2] * ends[1, 2] < 0 and np.hypot(*(ends[1] - ends[0])[:2]) < bolt.hole_mm:
            x, y = spots[0]
            reach = 0.5 * bolt.hole_mm / scale + 6.0
            strokes.line([(x - reach, y), (x + reach, y)], paper.INK, 1.0)
            strokes.line([(x, y - reach), (x, y + reach)], paper.INK, 1.0)


def measured(mold: Mold, plane: Plane, layers: list[Layer]) -> list[tuple[str, Gauge]]:
    """Rubber, wall and flange as the section shows them: what each is, and where it was found."""
    areas = {
        kind: unary_union([area_of(list(layer.rings)) for layer in layers if layer.kind == kind])
        for kind in ("pattern", "jacket", "shell")
    }
    settings, floor = mold.design.settings, _floor(mold, plane)
    named: list[tuple[str, Gauge]] = []
    if not areas["pattern"].is_empty and not areas["jacket"].is_empty:
        found = rubber_gauges(areas["pattern"], areas["jacket"], floor, 2.0 * settings.jacket.thickness_mm)
        if found and found[-1].length_mm - found[0].length_mm < 0.1:
            named.append(("rubber", found[0]))
        else:
            named += list(zip(("rubber, least", "rubber, most"), found, strict=False))
    if not areas["jacket"].is_empty and not areas["shell"].is_empty:
        clearance = settings.jacket.clearance_mm
        reach = (0.5 if clearance is None else clearance) + 0.25
        solid = areas["jacket"].union(areas["pattern"])
        wall_mm = settings.shell.wall_mm
        found = wall_gauge(areas["shell"], solid, reach, floor, 2.0 * wall_mm, _bored(mold, plane, wall_mm))
        named += [("wall, least", gauge) for gauge in found]
    shell, width = next((x for x in layers if x.kind == "shell"), None), settings.flange.width_mm
    if shell and width and plane.up[2] > 0.99 and _along_pull(mold, plane):
        named += [("flange", gauge) for gauge in flange_gauge(area_of(list(shell.rings)), 0.8 * width)]
    return named


def _bored(mold: Mold, plane: Plane, beside_mm: float) -> BaseGeometry:
    """What of a plane lies in ports, pour holes and vents that it cuts, and so far beside them."""
    found = []
    for piece in mold.design.pieces:
        for shape in (f.shape for f in piece.features if f.role is Role.PORT and not f.add):
            if not isinstance(shape, Frustum):
                continue
            far = np.asarray(shape.base) + shape.length_mm * np.asarray(shape.axis)
            ends = plane.to_plane(transform(np.array([shape.base, far]), piece.pull_to_mold))
            radius = max(shape.r0_mm, shape.r1_mm)
            if np.abs(ends[:, 2]).min() < radius or ends[0, 2] * ends[1, 2] < 0:
                found.append(LineString(ends[:, :2]).buffer(radius + beside_mm))
    return unary_union(found)


def _along_pull(mold: Mold, plane: Plane) -> bool:
    """Whether the plane's first axis is the first piece's pull, so that the parting is seen from its edge."""
    pull = next((part.pull for part in cast.rigid_in_order(mold) if part.kind == "shell" and part.pull), None)
    return pull is not None and abs(float(np.dot(pull, plane.right))) > 0.99


def _gauges(mold: Mold, plane: Plane, layers: list[Layer], place: Spot, scale: float, strokes: Strokes) -> list[Tag]:
    """Draw what was measured where it was found; its tags."""
    tags = []
    for words, gauge in measured(mold, plane, layers):
        start, end = ((place[0] + x / scale, place[1] - y / scale) for x, y in (gauge.start, gauge.end))
        strokes.arrow(start, end, _GAUGE, 2.0, both=True)
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        tags.append(Tag(f"{words} {gauge.length_mm:.1f} mm", middle, _GAUGE, "left", dot=False))
    return tags
