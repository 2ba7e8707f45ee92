"""What the pictures are made of: each part's colour, the hardware as little solids, points and middles. Lengths mm."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Bolt, Mold, Part
from shellgen.pattern.pattern import IntArray
from shellgen.sheet import paper
from shellgen.sheet.paper import Colour
from shellgen.sheet.zbuffer import Body
from shellgen.solid.recipe import Point


def part_colours(mold: Mold) -> dict[str, Colour]:
    """A colour for each part, by kind and order."""
    out: dict[str, Colour] = {}
    shells = 0
    for part in mold.parts:
        if part.kind == "jacket":
            out[part.name] = paper.RUBBER
        elif part.kind == "shell":
            out[part.name] = paper.SHELLS[shells % len(paper.SHELLS)]
            shells += 1
        else:
            out[part.name] = paper.SPACER if part.kind == "spacer" else paper.LID
    return out


def legend_of(mold: Mold, parts: Sequence[Part]) -> list[tuple[str, Colour]]:
    """What the parts' colours stand for; all spacers together."""
    colours = part_colours(mold)
    out = [(shown_name(part.name, part.kind), colours[part.name]) for part in parts if part.kind != "spacer"]
    spacers = [part for part in parts if part.kind == "spacer"]
    return out + ([(counted(len(spacers), "spacer"), paper.SPACER)] if spacers else [])


def counted(number: int, noun: str) -> str:
    """A number with its noun."""
    return f"{number} {noun}" + ("" if number == 1 else "s")


def shown_name(name: str, kind: str) -> str:
    """How a part is called in pictures: shell pieces go by letters, so the word is put before."""
    return f"piece {name}" if kind == "shell" else name


def rigid_in_order(mold: Mold) -> list[Part]:
    """Rigid parts as they go together; any that the assembly does not name come last."""
    rank = {name: k for k, name in enumerate(mold.design.assembly)}
    rigid = [part for part in mold.parts if part.pull is not None]
    return sorted(rigid, key=lambda part: rank.get(part.name, len(rank)))


def has_lid(mold: Mold) -> bool:
    """Whether some part closes the opening."""
    return any(part.kind == "lid" for part in mold.parts)


def hardware(mold: Mold) -> list[Body]:
    """Bolt heads, nuts and washers at their seats: those that hold the pieces together, and the lid or the board.

    Drawn size only, from the hole: washer twice as wide, head 1.7 across. Ends in a pocket or insert show nothing.
    """
    skip = "board" if has_lid(mold) else "lid"
    bodies = []
    for bolt in mold.design.bolts:
        if bolt.setup == skip:
            continue
        for end in (0, 1):
            if bolt.ends[end] == "washer":
                bodies.append(_bolt_head(bolt, end))
    return bodies


def _bolt_head(bolt: Bolt, end: int) -> Body:
    """A washer with a hexagon on it, standing on one seat away from the other."""
    seat, far = np.array(bolt.seats_mm[end]), np.array(bolt.seats_mm[1 - end])
    out = seat - far
    axis = out / (np.linalg.norm(out) or 1.0)
    hole = bolt.hole_mm
    washer = _prism(seat, axis, hole, 0.22 * hole, 24)
    head = _prism(seat + 0.22 * hole * axis, axis, 0.92 * hole, 0.62 * hole, 6)
    return Body(np.vstack([washer[0], head[0]]), np.vstack([washer[1], head[1] + len(washer[0])]), paper.METAL)


def _prism(base: FloatArray, axis: FloatArray, radius: float, height: float, sides: int) -> tuple[FloatArray, IntArray]:
    """A regular prism standing on `base` along `axis`, closed by fans."""
    u = np.cross(axis, (1.0, 0.0, 0.0) if abs(axis[0]) < 0.7 else (0.0, 1.0, 0.0))
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    angle = 2 * math.pi * np.arange(sides) / sides
    rim = base + radius * (np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v)
    points = np.vstack([rim, rim + height * axis, [base], [base + height * axis]])
    here, after = np.arange(sides), (np.arange(sides) + 1) % sides
    low, high = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    faces = np.vstack(
        [
            np.column_stack([here, after, after + sides]),
            np.column_stack([here, after + sides, here + sides]),
            np.column_stack([after, here, low]),
            np.column_stack([here + sides, after + sides, high]),
        ]
    )
    return points, faces.astype(np.int32)


def size_words(points_mm: FloatArray) -> str:
    """Width, depth and height of a box round points, whole mm."""
    x, y, z = points_mm.max(0) - points_mm.min(0)
    return f"{x:.0f} x {y:.0f} x {z:.0f} mm"


def as_point(vector: FloatArray) -> Point:
    """Three floats."""
    return float(vector[0]), float(vector[1]), float(vector[2])
