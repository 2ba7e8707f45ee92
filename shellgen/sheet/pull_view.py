"""A rigid piece seen from its pull: the viewer looks into the room that the jacket fills."""

from __future__ import annotations

import numpy as np
from PIL import Image

from shellgen.mold.mold import Mold, Part
from shellgen.sheet import cast, paper
from shellgen.sheet.contact import contact_shade
from shellgen.sheet.paper import Colour
from shellgen.sheet.pour_marks import mark_holes
from shellgen.sheet.scene import Camera, fitted, look_along
from shellgen.sheet.strokes import Strokes
from shellgen.sheet.zbuffer import Body, render

_FRAME = (paper.MARGIN + 210, 150, paper.SIZE[0] - paper.MARGIN - 210, paper.SIZE[1] - 190)
KEY_INK: Colour = (196, 92, 30)
_BOLT: Colour = (32, 84, 140)
_BASE: Colour = (112, 82, 48)


def draw_from_pull(mold: Mold, part: Part) -> Image.Image:
    """One shell piece, its bolts, keys and jacket keys marked, its size, and contours of its depth."""
    if part.pull is None:
        raise ValueError(f"{part.name} has no pull")
    colour = cast.part_colours(mold)[part.name]
    inwards = (-part.pull[0], -part.pull[1], -part.pull[2])
    camera = fitted(look_along(inwards), part.vertices_mm, paper.SIZE, _FRAME)
    step = paper.round_length_mm(max(float(np.ptp(part.vertices_mm @ np.array(part.pull))) / 6.0, 1.0))
    body = Body(part.vertices_mm, part.faces, colour, closed=True)
    page = Image.fromarray(contact_shade(render([body], camera, paper.PAPER, paper.INK, contour_mm=step)))
    strokes = Strokes()
    entries: list[tuple[str, Colour]] = [
        (cast.shown_name(part.name, part.kind), colour),
        (f"contours every {step:g} mm of depth", paper.SOFT),
    ]
    entries += _mark_bolts(mold, part, camera, strokes)
    entries += _mark_keys(mold, part, camera, strokes) + mark_holes(mold, part, camera, strokes)
    _sizes(page, strokes, camera, part)
    strokes.ink(page)
    deep = float(np.ptp(part.vertices_mm @ np.array(part.pull)))
    facts = f"looking into the jacket's room, {deep:.0f} mm deep over all"
    paper.title(page, mold.design.settings.name, f"{cast.shown_name(part.name, part.kind)} from its pull", facts)
    paper.legend(page, entries)
    paper.scale_bar(page, camera.mm_per_px)
    return page


def _mark_bolts(mold: Mold, part: Part, camera: Camera, strokes: Strokes) -> list[tuple[str, Colour]]:
    """Cross hairs over bolt holes; what to write in the legend."""
    counts: dict[tuple[str, str], int] = {}
    for bolt in mold.design.bolts:
        if part.name not in bolt.pair:
            continue
        ink = _BASE if bolt.setup != "closing" else _BOLT
        first, second = (camera.at(seat) for seat in bolt.seats_mm)
        x, y = camera.at(bolt.seats_mm[bolt.pair.index(part.name)])
        radius = 0.5 * bolt.hole_mm / camera.mm_per_px
        if np.hypot(first[0] - second[0], first[1] - second[1]) > radius:
            far = first if bolt.pair.index(part.name) == 1 else second
            strokes.dashed((2 * x - far[0], 2 * y - far[1]), far, ink, 1.5, 10.0, 4.0)
        else:
            strokes.circle((x, y), radius + 5.0, ink, 2.5)
            reach = radius + 11.0
            strokes.line([(x - reach, y), (x + reach, y)], ink, 1.2)
            strokes.line([(x, y - reach), (x, y + reach)], ink, 1.2)
        key = (bolt.size, bolt.setup)
        counts[key] = counts.get(key, 0) + 1
    words = {"closing": "to the next piece", "board": "to the board", "lid": "to the lid"}
    said = {setup: [f"{n} {size} {words[setup]}" for (size, s), n in counts.items() if s == setup] for setup in words}
    out = [(", ".join(said["closing"]), _BOLT), (", ".join(said["board"] + said["lid"]), _BASE)]
    return [(text, ink) for text, ink in out if text]


def _mark_keys(mold: Mold, part: Part, camera: Camera, strokes: Strokes) -> list[tuple[str, Colour]]:
    """Rings round flange keys (double for the male) and dotted rings at jacket keys; what to write in the legend."""
    male = female = domes = 0
    for key in mold.design.keys:
        if part.name not in key.pair:
            continue
        radius = key.radius_mm / camera.mm_per_px + 5.0
        strokes.circle(camera.at(key.at_mm), radius, KEY_INK, 2.5)
        if key.pair[0] == part.name:
            male += 1
            strokes.circle(camera.at(key.at_mm), radius + 6.0, KEY_INK, 2.5)
        else:
            female += 1
    for dome in mold.design.jacket_keys:
        if dome.piece == part.name:
            domes += 1
            strokes.circle(camera.at(dome.at_mm), dome.radius_mm / camera.mm_per_px, paper.RUBBER, 2.5)
    spacers = [s for s in mold.design.pour.spacers if s.piece == part.name] if mold.design.pour is not None else []
    for spacer in spacers:
        radius = spacer.radius_mm / camera.mm_per_px
        strokes.circle(camera.at(spacer.at_mm), radius, paper.SPACER, 3.0)
        strokes.circle(camera.at(spacer.at_mm), radius + 5.0, paper.SPACER, 2.0)
    out: list[tuple[str, Colour]] = []
    if spacers:
        out.append((cast.counted(len(spacers), "spacer") + " under it (double ring)", paper.SPACER))
    if male:
        out.append((cast.counted(male, "key") + " (double ring)", KEY_INK))
    if female:
        out.append((cast.counted(female, "key socket"), KEY_INK))
    if domes:
        out.append((cast.counted(domes, "jacket key room"), paper.RUBBER))
    return out


def _sizes(page: Image.Image, strokes: Strokes, camera: Camera, part: Part) -> None:
    """Overall width below the piece and height beside it."""
    seen = camera.project(part.vertices_mm)
    (x0, y0), (x1, y1) = seen.min(0)[:2], seen.max(0)[:2]
    below, beside = y1 + 34.0, x0 - 40.0
    for x in (x0, x1):
        strokes.line([(x, y1 + 10), (x, below + 8)], paper.SOFT, 1.0)
    for y in (y0, y1):
        strokes.line([(x0 - 10, y), (beside - 8, y)], paper.SOFT, 1.0)
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    wide, high = f"{(x1 - x0) * camera.mm_per_px:.0f} mm", f"{(y1 - y0) * camera.mm_per_px:.0f} mm"
    strokes.arrow((x0, below), (x1, below), both=True)
    strokes.arrow((beside, y0), (beside, y1), both=True)
    strokes.ink(page)
    paper.boxed(page, (middle_x, below), wide)
    paper.boxed(page, (beside, middle_y), high)
