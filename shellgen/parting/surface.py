"""The parting of a piece in its pull frame: an object that answers "height at", whatever its kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray


class Parting(Protocol):
    """A height field P(x, y) in a piece's pull frame; the piece's cell is all that lies above it."""

    @property
    def flat(self) -> bool:
        """True where the parting is the plane z = 0."""
        ...

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights at points of any shape."""
        ...


@dataclass(frozen=True, slots=True)
class PlaneParting:
    """Two halves by a plane: the plane z = 0 of both pull frames."""

    @property
    def flat(self) -> bool:
        """Always."""
        return True

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Zero."""
        return np.zeros(np.broadcast(x_mm, y_mm).shape)


@dataclass(frozen=True, slots=True)
class ValleyParting:
    """Radial pieces: two planes that meet in the axis x = 0, P = slope * |x|, slope = cot(180 degrees / pieces)."""

    slope: float

    @property
    def flat(self) -> bool:
        """Never: the two mating faces lean."""
        return False

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """The larger of both planes."""
        return np.broadcast_to(self.slope * np.abs(x_mm), np.broadcast(x_mm, y_mm).shape).astype(float)


@dataclass(frozen=True, slots=True, eq=False)
class SteppedParting:
    """Two halves along the silhouette: a raster that both pieces share (turned over for the second)."""

    surface: Envelope

    @property
    def flat(self) -> bool:
        """Never."""
        return False

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Bilinear heights."""
        return self.surface.at(x_mm, y_mm)
