"""The picture of opening against pitch: a curve for each bolt and thickness, the limit, the job's own gaps. Pixels."""

from __future__ import annotations

from collections.abc import Sequence

from PIL import Image, ImageDraw

from shellgen.sheet import paper
from shellgen.sheet.paper import Colour, Spot
from shellgen.sheet.strokes import Strokes
from shellgen.shop.bolts import BoltsAnswer, Curve
from shellgen.shop.joint.pitch import Band

HUES: tuple[Colour, ...] = ((30, 96, 145), (176, 92, 28), (62, 122, 68), (128, 72, 140), (150, 50, 60), (20, 130, 130))
LEFT, TOP, RIGHT, BOTTOM = 150, 150, 1240, 880
SETS = {"opening": "the opening", "preload": "the preload that is kept", "widest": "the widest layout"}
WORDS = {
    "M": "quoted from memory",
    "R": "quoted from its source",
    "P": "common practice",
    "X": "found in two sources",
    "C": "computed",
}


class _Axes:
    """Millimetres of pitch and opening to pixels."""

    def __init__(self, pitch: tuple[float, float], opening: float) -> None:
        self.low, self.high = pitch
        self.opening = opening

    def at(self, pitch: float, opening: float) -> Spot:
        x = LEFT + (RIGHT - LEFT) * (pitch - self.low) / (self.high - self.low)
        return x, BOTTOM - (BOTTOM - TOP) * opening / self.opening


def draw_chart(answer: BoltsAnswer, job: str) -> Image.Image:
    """The page: 1600 x 1200."""
    page = paper.blank()
    report = answer.report
    facts = f"{answer.section.first.modulus_mpa:g} MPa flange, {report.line_load_n_per_mm:.3f} N per mm of seam"
    paper.title(page, job, "opening against bolt pitch", facts)
    highest = max(2.5 * report.limit_mm, 1.15 * report.worst.opening_mm)
    reach = max([c.pitch_mm[-1] for c in answer.curves] + [g.span_mm for g in report.gaps]) * 1.02
    axes = _Axes((0.0, reach), highest)
    draw = ImageDraw.Draw(page)
    _grid(draw, axes)
    strokes = Strokes()
    strokes.dashed(axes.at(0.0, report.limit_mm), axes.at(reach, report.limit_mm), paper.ALARM, 2.5)
    sizes = list(dict.fromkeys(c.size for c in answer.curves))
    thicknesses = sorted({c.thickness_mm for c in answer.curves})
    for c in answer.curves:
        own = c.size == answer.bolt.size and abs(c.thickness_mm - answer.section.first.thickness_mm) < 1e-9
        colour = _shade(HUES[sizes.index(c.size) % len(HUES)], thicknesses.index(c.thickness_mm), len(thicknesses))
        strokes.line(_visible(c, axes), colour, 5.0 if own else 2.5)
    for gap in report.gaps:
        if gap.kind == "span":
            strokes.dot(axes.at(gap.span_mm, min(gap.opening_mm, highest)), 6.0)
    worst = report.worst
    chosen = axes.at(worst.span_mm, min(worst.opening_mm, highest))
    strokes.circle(chosen, 15.0, paper.INK, 3.0)
    notes = [(f"widest opening: {worst.opening_mm:.3f} mm at {worst.span_mm:.0f} mm", chosen, BOTTOM - 190.0)]
    if report.pitch.pitch_mm > 0:
        at = axes.at(report.pitch.pitch_mm, report.limit_mm)
        if report.pitch.pitch_mm <= reach:
            strokes.dashed(at, (at[0], BOTTOM), paper.INK, 1.5)
            strokes.dot(at, 7.0)
        at = (min(at[0], RIGHT), at[1])
        notes.append(
            (f"largest pitch {report.pitch.pitch_mm:.0f} mm, set by {SETS[report.pitch.governs]}", at, TOP + 60.0)
        )
    if len(notes) == 2 and notes[0][1][1] < notes[1][1][1]:  # the higher spot has the upper words: no leaders cross
        notes = [(notes[0][0], notes[0][1], notes[1][2]), (notes[1][0], notes[1][1], notes[0][2])]
    for _, spot, height in notes:
        strokes.line([(LEFT + 40, height + 16), spot], paper.SOFT, 1.5)
    strokes.ink(page)
    for words, _, height in notes:
        paper.boxed(page, (LEFT + 40 + draw.textlength(words, paper.font(20)) / 2, height), words)
    limit_at = axes.at(0.0, report.limit_mm)
    limit_words = f"limit {report.limit_mm:g} mm"
    draw.text((limit_at[0] + 10, limit_at[1] - 6), limit_words, paper.ALARM, paper.font(20), anchor="ls")
    _key(draw, answer.curves, sizes, thicknesses, answer)
    _bands(draw, axes, report.bands)
    foot = "Dots: the mold's own gaps. Curves: an endless row of bolts, each driven as far as its flange bears."
    draw.text((LEFT, 1160), foot, paper.SOFT, paper.font(20), anchor="ls")
    return page


def _visible(curve: Curve, axes: _Axes) -> list[Spot]:
    """The curve up to the top of the chart."""
    out: list[Spot] = []
    before: tuple[float, float] | None = None
    for pitch, opening in zip(curve.pitch_mm, curve.opening_mm, strict=True):
        if opening > axes.opening:
            if before is not None:
                share = (axes.opening - before[1]) / (opening - before[1])
                out.append(axes.at(before[0] + share * (pitch - before[0]), axes.opening))
            break
        out.append(axes.at(pitch, opening))
        before = (pitch, opening)
    return out


def _grid(draw: ImageDraw.ImageDraw, axes: _Axes) -> None:
    step = paper.round_length_mm(axes.high / 5)
    k = 0
    while k * step <= axes.high:
        x, _ = axes.at(k * step, 0)
        draw.line([(x, TOP), (x, BOTTOM)], paper.RULE, 1)
        draw.text((x, BOTTOM + 10), f"{k * step:g}", paper.INK, paper.font(20), anchor="mt")
        k += 1
    step = paper.round_length_mm(axes.opening / 4)
    k = 0
    while k * step <= axes.opening:
        _, y = axes.at(axes.low, k * step)
        draw.line([(LEFT, y), (RIGHT, y)], paper.RULE, 1)
        draw.text((LEFT - 12, y), f"{k * step:g}", paper.INK, paper.font(20), anchor="rm")
        k += 1
    draw.line([(LEFT, TOP), (LEFT, BOTTOM), (RIGHT, BOTTOM)], paper.INK, 2)
    draw.text((LEFT, TOP - 14), "opening at the wall, mm", paper.INK, paper.font(20), anchor="ls")
    draw.text((RIGHT, BOTTOM + 40), "bolt pitch, mm", paper.INK, paper.font(20), anchor="rt")


def _key(
    draw: ImageDraw.ImageDraw, curves: Sequence[Curve], sizes: list[str], thicknesses: list[float], answer: BoltsAnswer
) -> None:
    x, y = RIGHT + 40, TOP + 10
    draw.text((x, y), "bolt, flange, torque", paper.SOFT, paper.font(20), anchor="lm")
    for c in curves:
        y += 34
        own = c.size == answer.bolt.size and abs(c.thickness_mm - answer.section.first.thickness_mm) < 1e-9
        colour = _shade(HUES[sizes.index(c.size) % len(HUES)], thicknesses.index(c.thickness_mm), len(thicknesses))
        draw.line([(x, y), (x + 40, y)], colour, 6 if own else 3)
        words = f"{c.size}, {c.thickness_mm:g} mm, {c.torque_nm:.2f} N m" + ("  (job)" if own else "")
        draw.text((x + 50, y), words, paper.INK, paper.font(18), anchor="lm")


def _bands(draw: ImageDraw.ImageDraw, axes: _Axes, bands: Sequence[Band]) -> None:
    y = BOTTOM + 88
    draw.text(
        (LEFT, y),
        "Rules of thumb for the pitch, to hold the result against; none is a proof:",
        paper.SOFT,
        paper.font(20),
        anchor="lm",
    )
    for band in bands:
        y += 38
        left, right = axes.at(band.low_mm, 0)[0], min(axes.at(band.high_mm, 0)[0], RIGHT)
        draw.rectangle([left, y - 10, right, y + 10], paper.BOARD, paper.BOARD_LINE)
        words = f"{band.rule}: {band.low_mm:.0f} to {band.high_mm:.0f} mm, {WORDS[band.how]}"
        draw.text((right + 12, y), words, paper.INK, paper.font(18), anchor="lm")


def _shade(colour: Colour, index: int, count: int) -> Colour:
    """Lighter for thinner flanges."""
    share = 0.55 * (1.0 - (index + 1) / count) if count > 1 else 0.0
    red, green, blue = (round(v + (255 - v) * share) for v in colour)
    return red, green, blue
