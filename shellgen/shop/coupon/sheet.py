"""The coupon's one-page sheet: what to print, how to load and measure it, what is predicted, a table to fill in. A4."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw

from shellgen.envelope.raster import FloatArray
from shellgen.sheet import paper
from shellgen.sheet.paper import Colour, Spot
from shellgen.shop.coupon.measured import spots
from shellgen.shop.coupon.pieces import bolt_places_mm, ear_places_mm, pieces
from shellgen.shop.coupon.plan import EAR_MM, CouponPlan
from shellgen.solid.recipe import Dome, PlateRecipe, Prism, Ring, Role

SIZE = (1240, 1754)  # A4 at 150 pixels to the inch
LEFT, RIGHT = 80, 1160
LINE = 27


def draw_sheet(plan: CouponPlan) -> Image.Image:
    """The page."""
    page = Image.new("RGB", SIZE, paper.PAPER)
    draw = ImageDraw.Draw(page)
    draw.text((LEFT, 92), plan.job, paper.INK, paper.font(40), anchor="ls")
    start = LEFT + draw.textlength(plan.job, paper.font(40)) + 20
    draw.text((start, 92), "coupon: test pieces of the joint", paper.SOFT, paper.font(24), anchor="ls")
    draw.line([(LEFT, 112), (RIGHT, 112)], paper.RULE, 2)
    y = _strips(page, plan, 150)
    y = _steps(draw, plan, y + 20)
    y = _table(draw, plan, y + 16)
    _plans(page, plan, y + 50)
    draw.text(
        (LEFT, SIZE[1] - 60),
        "Fill the same figures into measured.csv and run: shellgen coupon JOB --measured measured.csv",
        paper.SOFT,
        paper.font(19),
        anchor="ls",
    )
    return page


def _strips(page: Image.Image, plan: CouponPlan, top: float) -> float:
    """The strip pair from its edge, to scale, with its gaps numbered and the weight drawn at one."""
    strips = plan.strips
    draw = ImageDraw.Draw(page)
    scale = (RIGHT - LEFT - 40) / strips.line.length_mm
    x0, middle = LEFT + 20, top + 120
    heights = (strips.section.first.thickness_mm * scale, strips.section.second.thickness_mm * scale)
    for sign, height in ((-1, heights[0]), (1, heights[1])):
        box = sorted([middle + sign * 2, middle + sign * (2 + height)])
        draw.rectangle([x0, box[0], x0 + strips.line.length_mm * scale, box[1]], paper.SHELLS[0], paper.INK, 2)
    head, washer = strips.bolt.head, strips.driven.seat_mm
    for x in bolt_places_mm(strips):
        px = x0 + x * scale
        draw.line([(px, middle - heights[0] - 30), (px, middle + heights[1] + 30)], paper.METAL, 6)
        for sign, height in ((-1, heights[0]), (1, heights[1])):
            face = middle + sign * (2 + height)
            outer = face + sign * 5
            ys = sorted([face, outer])
            draw.rectangle([px - washer * scale / 2, ys[0], px + washer * scale / 2, ys[1]], paper.METAL)
            ys = sorted([outer, outer + sign * 14])
            draw.rectangle([px - head.key_mm * scale / 2, ys[0], px + head.key_mm * scale / 2, ys[1]], paper.METAL)
    for n, (x, span) in enumerate(zip(ear_places_mm(strips), strips.line.spans_mm, strict=True), 1):
        px = x0 + x * scale
        aside = px - span * scale / 4
        draw.text((aside, middle - heights[0] - 30), f"gap {n}", paper.INK, paper.font(20), anchor="ms")
        half, y = span * scale / 2 - 6, middle + heights[1] + 52
        _arrow(draw, (px, y), (px - half, y), paper.SOFT)
        _arrow(draw, (px, y), (px + half, y), paper.SOFT)
        draw.text((aside, middle + heights[1] + 76), f"{span:g} mm", paper.SOFT, paper.font(18), anchor="mm")
    last = x0 + ear_places_mm(strips)[-1] * scale
    half = EAR_MM * scale / 2
    for way, y in ((-1, middle - heights[0]), (1, middle + heights[1])):
        draw.line([(last - half, y), (last + half, y)], paper.INK, 4)
        _arrow(draw, (last, y), (last, y + way * 100), paper.ALARM, 3)
    words = f"{strips.weight_kg:g} kg"
    draw.text((last + 14, middle + heights[1] + 100), words, paper.ALARM, paper.font(20), anchor="lm")
    draw.text((last + 14, middle - heights[0] - 90), "hook", paper.ALARM, paper.font(20), anchor="lm")
    return middle + heights[1] + 120


def _arrow(draw: ImageDraw.ImageDraw, start: Spot, end: Spot, colour: Colour, width: int = 2) -> None:
    """A line with a slim head at its end."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = max((dx**2 + dy**2) ** 0.5, 1e-9)
    dx, dy = dx / length, dy / length
    foot = (end[0] - 14 * dx, end[1] - 14 * dy)
    draw.line([start, foot], colour, width)
    draw.polygon([end, (foot[0] - 5 * dy, foot[1] + 5 * dx), (foot[0] + 5 * dy, foot[1] - 5 * dx)], colour)


def _steps(draw: ImageDraw.ImageDraw, plan: CouponPlan, top: float) -> float:
    strips = plan.strips
    bolts = len(strips.line.spans_mm) + 1
    lines = [
        f"1  Print in {plan.material} as the shell is printed: same nozzle, layers and infill, and the strips the same",
        "    way round as the flange. All pieces lie as they print: strips with the mating face up,",
        "    key, sockets and steps with the engraved side up.",
        f"2  Lay strip B on strip A, mating faces together. {bolts} bolts {strips.bolt.size}, washers both sides, "
        f"{strips.driven.torque_nm:.2f} N m each.",
        f"3  Hang the pair by the two tabs of strip A at one gap, and {strips.weight_kg:g} kg from the tabs of strip B",
        "    at the same gap (cable ties through the holes). Within a minute find the thickest feeler that slides in",
        "    at the middle of that gap, from either side; take the mean. Then the next gap.",
    ]
    if plan.keys is not None:
        lines.append("4  Press the key into each socket by hand. Home means: no light between the faces.")
    lines.append("5  Fill the tray with rubber the way you mean to make the jacket; level, cure, measure each step.")
    for line in lines:
        draw.text((LEFT, top), line, paper.INK, paper.font(20), anchor="ls")
        top += LINE
    return top


def _plans(page: Image.Image, plan: CouponPlan, top: float) -> None:
    """Plans of the pieces, all at one scale, in rows from the left, and lines for what was printed."""
    draw = ImageDraw.Draw(page)
    found = pieces(plan)
    sizes = []
    for recipe in found:
        ring = np.asarray(recipe.outline.outer)
        sizes.append((ring.min(axis=0), np.ptp(ring, axis=0)))
    room = SIZE[1] - 150 - top
    scale = (RIGHT - LEFT) / 330.0
    while True:
        places, bottom = _rows([size * scale for _, size in sizes])
        if bottom <= room or scale < 0.4:
            break
        scale *= 0.95
    for recipe, (low, size), (x, y) in zip(found, sizes, places, strict=True):
        origin = np.array([LEFT + x, top + y + size[1] * scale])
        _draw_plan(draw, recipe, low, origin, scale)
        words = f"{recipe.name}.stl"
        draw.text((LEFT + x, top + y + size[1] * scale + 20), words, paper.SOFT, paper.font(16), anchor="ls")
    fields = "printer ______________   nozzle ______   layer ______   infill ______   date ____________"
    draw.text((LEFT, SIZE[1] - 96), fields, paper.SOFT, paper.font(19), anchor="ls")


def _rows(sizes: list[FloatArray]) -> tuple[list[tuple[float, float]], float]:
    """Places of boxes set in rows, and the bottom of the last row, in pixels."""
    places, x, y, tall = [], 0.0, 0.0, 0.0
    for width, height in sizes:
        if x > 0 and x + width > RIGHT - LEFT:
            x, y, tall = 0.0, y + tall + 40.0, 0.0
        places.append((x, y))
        x, tall = x + float(width) + 30.0, max(tall, float(height))
    return places, y + tall + 24.0


def _draw_plan(
    draw: ImageDraw.ImageDraw, recipe: PlateRecipe, low: FloatArray, origin: FloatArray, scale: float
) -> None:
    """Outline, bores, steps and letters of one piece seen from above its engraved side."""

    def px(ring: Ring) -> list[Spot]:
        return [(float(origin[0] + (x - low[0]) * scale), float(origin[1] - (y - low[1]) * scale)) for x, y in ring]

    draw.polygon(px(recipe.outline.outer), paper.SHELLS[0], paper.INK)
    for feature in recipe.features:
        shape = feature.shape
        if isinstance(shape, Prism):
            x, y, z = shape.origin
            if z >= 0:  # cuts from below do not show
                letter = feature.role is Role.LABEL
                inked, blank = (paper.INK, paper.SHELLS[0]) if letter else (paper.PAPER, paper.SHELLS[0])
                for ring, fill in ((shape.outer, inked), *((hole, blank) for hole in shape.holes)):
                    draw.polygon(px(tuple((x + u, y + v) for u, v in ring)), fill, None if letter else paper.INK)
            continue
        radius = (shape.rim_mm if isinstance(shape, Dome) else shape.r0_mm) * scale
        (x, y) = px(((shape.base[0], shape.base[1]),))[0]
        draw.ellipse(
            [x - radius, y - radius, x + radius, y + radius], paper.RUBBER if feature.add else paper.PAPER, paper.INK
        )


def _table(draw: ImageDraw.ImageDraw, plan: CouponPlan, top: float) -> float:
    low, high = plan.strips.section.first.modulus_mpa / 1.25, plan.strips.section.first.modulus_mpa * 1.25
    ranges = list(zip(plan.strips.predicted_mm(high), plan.strips.predicted_mm(low), strict=True))
    columns = (LEFT, LEFT + 150, LEFT + 690, LEFT + 820, LEFT + 960, RIGHT)
    headings = ("spot", "what", "nominal, mm", "predicted, mm", "measured")
    rows = spots(plan)
    height = min(36.0, (SIZE[1] - 120 - top) / (len(rows) + 1))
    for x, words in zip(columns, headings, strict=False):
        draw.text((x + 8, top + height / 2), words, paper.SOFT, paper.font(18), anchor="lm")
    y = top
    for k, spot in enumerate(rows):
        y = top + height * (k + 1)
        predicted = "" if spot.predicted_mm is None else f"{spot.predicted_mm:.2f}"
        if spot.name.startswith("gap"):
            thin, thick = ranges[int(spot.name.split()[1]) - 1]
            predicted = f"{spot.predicted_mm:.2f} ({thin:.2f}-{thick:.2f})"
        if spot.name.startswith("step"):
            predicted = f"{spot.predicted_mm:.1f}"
        for x, words in zip(columns, (spot.name, spot.what, f"{spot.nominal_mm:g}", predicted), strict=False):
            draw.text((x + 8, y + height / 2), words, paper.INK, paper.font(18), anchor="lm")
    bottom = y + height
    for k in range(len(rows) + 2):
        draw.line([(LEFT, top + height * k), (RIGHT, top + height * k)], paper.RULE, 1)
    for x in columns:
        draw.line([(x, top), (x, bottom)], paper.RULE, 1)
    modulus = plan.strips.section.first.modulus_mpa
    note = f"In brackets: the opening with a modulus a quarter higher and lower than {modulus:g} MPa."
    draw.text((LEFT, bottom + 24), note, paper.SOFT, paper.font(18), anchor="ls")
    return bottom
