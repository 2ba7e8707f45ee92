"""Sweep each piece out along its pull, in reverse order of assembly, against all that stays behind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shellgen.checks.depth import tops, undersides, window_round
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part

PITCH_MM = 0.3
LINES = 1_000_000
TOUCH_MM = 0.05  # surfaces that coincide at rest differ by rounding, steep ones by more than others


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """One piece drawn past one part that stays.

    crossed_mm3 : volume between the piece's underside and what of the other lies above it: none, if the piece can
    leave; in_the_way_mm3 : the same without what is thinner than a touch. where : the deepest place (3,), mold frame.
    """

    piece: str
    other: str
    crossed_mm3: float
    in_the_way_mm3: float
    deepest_mm: float
    where: FloatArray


def pull_frame(pull: FloatArray) -> FloatArray:
    """Rotation (3, 3) whose third row is the pull."""
    z = pull / np.linalg.norm(pull)
    x = np.cross([0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0], z)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z])


def sweeps(parts: Mapping[str, Part], assembly: Sequence[str]) -> Iterator[Sweep]:
    """Every piece against every part still there when it leaves.

    On each line along the pull, nothing that stays may lie above the lowest point of the piece: then no travel, short
    or long, brings them together, and they do not overlap at rest either. What is narrower in plan than the lines are
    apart (0.3 mm, more on large pieces) can be missed.
    """
    staying = dict(parts)
    for name in reversed([name for name in assembly if name in parts]):
        piece = staying.pop(name)
        if piece.pull is None:
            continue
        turn = pull_frame(np.asarray(piece.pull, float))
        points = piece.vertices_mm @ turn.T
        window = window_round(points, LINES, PITCH_MM)
        underside = undersides(points, piece.faces, window)
        for other in staying.values():
            top = tops(other.vertices_mm @ turn.T, other.faces, window)
            lines = np.flatnonzero(top.ravel() > underside.ravel())
            over = top.ravel()[lines] - underside.ravel()[lines]
            cell = window.pitch_mm**2
            deepest, where = 0.0, np.zeros(3)
            if len(lines):
                best = int(over.argmax())
                i, j = divmod(int(lines[best]), window.columns)
                spot = [window.x0_mm + j * window.pitch_mm, window.y0_mm + i * window.pitch_mm, float(top[i, j])]
                deepest, where = float(over[best]), np.asarray(spot) @ turn
            in_the_way = float(over[over > TOUCH_MM].sum()) * cell
            yield Sweep(name, other.name, float(over.sum()) * cell, in_the_way, deepest, where)
