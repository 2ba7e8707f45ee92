"""The assembled and the exploded picture."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from PIL import Image

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Mold
from shellgen.sheet import cast, paper
from shellgen.sheet.contact import contact_shade
from shellgen.sheet.paper import Spot
from shellgen.sheet.pour_marks import pour_tags
from shellgen.sheet.scene import Camera, explode_offsets, fitted, three_quarter
from shellgen.sheet.strokes import Strokes
from shellgen.sheet.tags import Map, Tag, draw_tags
from shellgen.sheet.zbuffer import Body, Clip, Picture, render
from shellgen.solid.recipe import Point

_FRAME = (paper.MARGIN + 150, 140, paper.SIZE[0] - paper.MARGIN - 150, paper.SIZE[1] - 124)
_TAGS = (paper.MARGIN, 122, paper.SIZE[0] - paper.MARGIN, paper.SIZE[1] - 110)


def draw_assembled(mold: Mold) -> Image.Image:
    """The closed shell with its bolts, the lid where there is one, and the board's line."""
    colours = cast.part_colours(mold)
    shown = [part for part in mold.parts if part.pull is not None]
    bodies = [Body(part.vertices_mm, part.faces, colours[part.name], closed=True) for part in shown]
    points = np.vstack([part.vertices_mm for part in shown])
    board = _board_outline(points) if mold.design.pattern.mount != "none" else None
    subject = points if board is None else np.vstack([points, board])
    camera = fitted(three_quarter(_across(mold, most_heads=True), 36.0, 22.0), subject, paper.SIZE, _FRAME)
    picture = render([*bodies, *cast.hardware(mold)], camera, paper.PAPER, paper.INK)
    page, strokes = _page(picture), Strokes()
    if board is not None:
        loop = np.vstack([board, board[:1]])
        for start, end in pairwise(loop):
            ink_line(strokes, picture, camera, start, end, paper.BOARD_LINE, 2.5)
    found = spots(picture, len(shown))
    names = [
        Tag(cast.shown_name(part.name, part.kind), at[0], colours[part.name], body=k, others=at[1:])
        for k, (part, at) in enumerate(zip(shown, found, strict=True))
        if at
    ]
    if board is not None:
        nearest = max(
            (board + np.roll(board, 1, axis=0)) / 2, key=lambda point: float(point @ np.array(camera.towards))
        )
        names.append(Tag("board, z = 0", camera.at(cast.as_point(nearest)), paper.BOARD))
    names += pour_tags(mold, camera, picture)
    paper.title(page, mold.design.settings.name, "assembled", cast.size_words(points))
    draw_tags(page, strokes, names, _TAGS, body_map(picture))
    strokes.ink(page)
    entries = cast.legend_of(mold, shown)
    if mold.design.bolts:
        entries.append((_bolt_words(mold), paper.METAL))
    paper.legend(page, entries)
    paper.scale_bar(page, camera.mm_per_px)
    return page


def draw_exploded(mold: Mold) -> Image.Image:
    """Every rigid part moved out along its pull, numbered in order; the jacket cut open round the pattern."""
    colours = cast.part_colours(mold)
    rigid = cast.rigid_in_order(mold)
    soft = [part for part in mold.parts if part.pull is None]
    skin = mold.design.pattern.skin
    across = _across(mold)
    view = three_quarter(across, 24.0, 18.0)
    middle = np.vstack([skin.vertices_mm, *(part.vertices_mm for part in soft)])
    gap = 0.22 * float(np.ptp(middle, axis=0).max())
    offsets = explode_offsets(
        tuple(part.name for part in rigid),
        {part.name: part.pull for part in rigid if part.pull is not None},
        {part.name: part.vertices_mm for part in rigid},
        middle,
        gap,
    )
    moved = {part.name: part.vertices_mm + offsets[part.name] for part in rigid}
    bodies = [Body(moved[part.name], part.faces, colours[part.name], closed=True) for part in rigid]
    caps = {"jacket": paper.RUBBER_CUT, "spacer": paper.SPACER}
    bodies += [Body(p.vertices_mm, p.faces, colours[p.name], cap=caps.get(p.kind, paper.RUBBER_CUT)) for p in soft]
    bodies.append(Body(skin.vertices_mm, skin.faces, paper.PATTERN, closed=True))
    front = np.array(view.towards) * (1.0, 1.0, 0.0)
    centre = (middle.min(0) + middle.max(0)) / 2
    camera = fitted(view, np.vstack([middle, *moved.values()]), paper.SIZE, _FRAME)
    picture = render(bodies, camera, paper.PAPER, paper.INK, Clip(cast.as_point(centre), cast.as_point(front)))
    page, strokes = _page(picture), Strokes()
    _axes(strokes, picture, camera, mold, offsets)
    names = [f"{k + 1}  {cast.shown_name(part.name, part.kind)}" for k, part in enumerate(rigid)]
    names += [part.name if part.kind == "spacer" else f"{part.name}, cut open" for part in soft] + ["pattern"]
    hidden = [len(rigid) + k for k, part in enumerate(soft) if part.kind == "spacer"]
    inks = [body.colour for body in bodies]
    found = [at if k not in hidden else () for k, at in enumerate(spots(picture, len(bodies)))]
    paper.title(page, mold.design.settings.name, "exploded", "numbers: order in which the parts go together")
    marks = [
        Tag(name, at[0], colour, body=k, others=at[1:])
        for k, (name, at, colour) in enumerate(zip(names, found, inks, strict=True))
        if at
    ]
    draw_tags(page, strokes, marks, _TAGS, body_map(picture))
    strokes.ink(page)
    paper.legend(page, [*cast.legend_of(mold, [*rigid, *soft]), ("pattern", paper.PATTERN)])
    paper.scale_bar(page, camera.mm_per_px)
    return page


def spots(picture: Picture, count: int) -> list[tuple[Spot, ...]]:
    """For each body, pixels of its visible area to point at, the best first; none where it is hidden.

    They lie nearest to the middle of the whole area, of its top, its left and its right sixth.
    """
    over = picture.body.shape[0] // picture.rgb.shape[0]
    seen = picture.body[:: 4 * over, :: 4 * over]
    out: list[tuple[Spot, ...]] = []
    for body in range(count):
        rows, columns = np.nonzero(seen == body)
        found: list[Spot] = []
        if len(rows):
            top, (left, right) = np.quantile(rows, 1 / 6), np.quantile(columns, (1 / 6, 5 / 6))
            for part in (rows >= 0, rows <= top, columns <= left, columns >= right):
                away = (rows - rows[part].mean()) ** 2 + (columns - columns[part].mean()) ** 2
                k = int(np.argmin(np.where(part, away, np.inf)))
                found.append((float(columns[k] * 4), float(rows[k] * 4)))
        out.append(tuple(found))
    return out


def body_map(picture: Picture) -> Map:
    """(height, width) body number per pixel."""
    over = picture.body.shape[0] // picture.rgb.shape[0]
    return picture.body[::over, ::over]


def ink_line(
    strokes: Strokes,
    picture: Picture,
    camera: Camera,
    start: FloatArray,
    end: FloatArray,
    colour: paper.Colour,
    width: float,
    dashes_px: tuple[float, float] | None = None,
) -> None:
    """A straight line in space, left out where a body hides it; dashes_px : ink and gap."""
    a, b = camera.project(np.array([start, end]))
    length = float(np.hypot(*(b - a)[:2]))
    steps = max(2, int(length))
    along = np.linspace(0.0, 1.0, steps + 1)[:, None]
    track = a + (b - a) * along
    over = picture.depth_mm.shape[0] // picture.rgb.shape[0]
    columns = (track[:, 0] * over).astype(int).clip(0, picture.depth_mm.shape[1] - 1)
    rows = (track[:, 1] * over).astype(int).clip(0, picture.depth_mm.shape[0] - 1)
    free = track[:, 2] >= picture.depth_mm[rows, columns] - 1.5 * camera.mm_per_px
    if dashes_px:
        free &= (np.arange(steps + 1) * length / steps) % sum(dashes_px) < dashes_px[0]
    flips = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(int), [0]])))
    for first, last in zip(flips[::2], flips[1::2] - 1, strict=True):
        if last > first:
            (x0, y0), (x1, y1) = track[first, :2], track[last, :2]
            strokes.line([(float(x0), float(y0)), (float(x1), float(y1))], colour, width)


def _axes(strokes: Strokes, picture: Picture, camera: Camera, mold: Mold, offsets: dict[str, FloatArray]) -> None:
    """Fine dashed lines along which the pieces' bolt holes meet."""
    still = np.zeros(3)
    for bolt in mold.design.bolts:
        ends = [np.array(seat) + offsets.get(name, still) for seat, name in zip(bolt.seats_mm, bolt.pair, strict=True)]
        if bolt.setup == "closing":
            ink_line(strokes, picture, camera, ends[0], ends[1], paper.SOFT, 1.0, (14.0, 6.0))


def _across(mold: Mold, most_heads: bool = False) -> Point:
    """The level direction that runs across the page, towards the viewer: a shell piece's pull where it is not upright.

    It is the first piece's as they go together, or that of the piece on which most bolt heads sit.
    """
    pulls = {part.name: part.pull for part in cast.rigid_in_order(mold) if part.kind == "shell" and part.pull}
    if not pulls:
        return 1.0, 0.0, 0.0
    heads = {name: 0 for name in pulls}
    for bolt in mold.design.bolts:
        for name, end in zip(bolt.pair, bolt.ends, strict=True):
            heads[name] = heads.get(name, 0) + (end == "washer" and bolt.setup == "closing")
    chosen = max(pulls, key=lambda name: heads[name]) if most_heads else next(iter(pulls))
    pull = pulls[chosen]
    return pull if abs(pull[2]) < 0.9 else (1.0, 0.0, 0.0)


def _board_outline(points: FloatArray) -> FloatArray:
    """(4, 3) corners of a board round the mold at z = 0."""
    low, high = points.min(0)[:2], points.max(0)[:2]
    edge = 0.06 * float((high - low).max())
    (x0, y0), (x1, y1) = low - edge, high + edge
    return np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])


def _bolt_words(mold: Mold) -> str:
    """Number and size of the bolts that are drawn."""
    skip = "board" if cast.has_lid(mold) else "lid"
    drawn = [bolt for bolt in mold.design.bolts if bolt.setup != skip]
    sizes = sorted({bolt.size for bolt in drawn})
    return ", ".join(f"{sum(bolt.size == size for bolt in drawn)} bolts {size}" for size in sizes)


def _page(picture: Picture) -> Image.Image:
    """The picture as a page, with contact shade."""
    return Image.fromarray(contact_shade(picture))
