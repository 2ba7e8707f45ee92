"""Which way to tilt a poured mold so that the pattern itself traps the least air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.vents import KEEP_MM, Filling, Mesh, Point, filling, look_into, place_vents

LEANS_DEG = (0.0, 10.0, 20.0, 30.0, 45.0)
ROUND = 8


@dataclass(frozen=True, slots=True)
class Tilt:
    """A pour position: the direction (mold frame) that is up, its lean from the vertical, and what air stays."""

    up: Point
    lean_deg: float
    filling: Filling

    @property
    def air_mm3(self) -> float:
        """Air that stays in all traps."""
        return sum(trap.volume_mm3 for trap in self.filling.traps)


def turned_up(up: FloatArray) -> FloatArray:
    """(3, 3): turns the direction `up` to +z the shortest way."""
    a, b, c = up / np.linalg.norm(up)
    if c < -1 + 1e-12:
        return np.diag([1.0, -1.0, -1.0])
    k = 1 / (1 + c)
    return np.array([[1 - a * a * k, -a * b * k, -a], [-a * b * k, 1 - b * b * k, -b], [a, b, c]])


def tilt_study(gap: Mesh, pattern: Mesh, *, pitch_mm: float, keep_mm: float = KEEP_MM) -> tuple[Tilt, ...]:
    """33 pour positions up to 45 degrees off the vertical, the least air first, the least lean among equals.

    gap, pattern : as for `look_into`, in the mold frame. Every position has a pour and vents at all heights under the
    shell; what is compared is the air that the pattern itself holds. pitch_mm : raster; 2 to 3 mm does.
    """
    found = []
    for lean in LEANS_DEG:
        for k in range(ROUND if lean > 0 else 1):
            turn, tilt = 2 * np.pi * k / ROUND, np.radians(lean)
            up = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])
            rotation = turned_up(up)
            seen = look_into((gap[0] @ rotation.T, gap[1]), (pattern[0] @ rotation.T, pattern[1]), pitch_mm=pitch_mm)
            vents = [vent.at_mm for vent in place_vents(seen, keep_mm=keep_mm)]
            found.append(Tilt((float(up[0]), float(up[1]), float(up[2])), lean, filling(seen, vents, keep_mm=keep_mm)))
    return tuple(sorted(found, key=lambda tilt: (len(tilt.filling.never_filled), tilt.air_mm3, tilt.lean_deg)))
