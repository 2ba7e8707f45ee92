"""The parting of a piece in its pull frame: an object that answers "height at", whatever its kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import Envelope, FloatArray

TOUCH_MM = 1e-6  # a point that near to a side counts as on it


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


@dataclass(frozen=True, slots=True)
class PlanesParting:
    """A piece between planes: z >= a x + b y + c of each of `planes`, within the plan that its `sides` bound.

    sides : ((a, b, c), ...), planes that hold the pull, a x + b y + c >= 0 with (a, b) of length 1; beyond one of them
    the piece's cell has no floor and `at` is infinite. low_mm : lowest height over the pattern, at most 0. slid : which
    of the planes a neighbour slides along when it leaves.
    """

    planes: tuple[tuple[float, float, float], ...]
    sides: tuple[tuple[float, float, float], ...] = ()
    low_mm: float = 0.0
    slid: tuple[bool, ...] = ()

    @property
    def flat(self) -> bool:
        """Never: even a single level plane may end at a side."""
        return False

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """The highest of all planes; infinite beyond a side."""
        return np.where(self.within(x_mm, y_mm, -TOUCH_MM), self.raised(x_mm, y_mm, 0.0), np.inf)

    def raised(self, x_mm: FloatArray, y_mm: FloatArray, by_mm: float) -> FloatArray:
        """The highest of all planes moved that far into the piece, square to themselves; sides left out."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        heights = [a * x + b * y + c + by_mm * np.sqrt(1.0 + a * a + b * b) for a, b, c in self.planes]
        return np.asarray(np.max(heights, axis=0), float)

    def within(self, x_mm: FloatArray, y_mm: FloatArray, by_mm: float) -> npt.NDArray[np.bool_]:
        """Which points lie at least that far inside of all sides."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        inside = np.ones(x.shape, bool)
        for a, b, c in self.sides:
            inside &= a * x + b * y + c >= by_mm
        return inside


@dataclass(frozen=True, slots=True, eq=False)
class SteppedParting:
    """Two halves along the silhouette: a raster in the first half's pull frame that both pieces share.

    over : True for the second half, whose frame is the first one's turned over: P(x, y) = -surface(-x, y).
    """

    surface: Envelope
    over: bool = False

    @property
    def flat(self) -> bool:
        """Never."""
        return False

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Bilinear heights; beyond the raster those of its edge."""
        g = self.surface.grid
        x = -np.asarray(x_mm, float) if self.over else np.asarray(x_mm, float)
        x = np.clip(x, g.x0_mm, g.x0_mm + g.pitch_mm * (g.columns - 1))
        y = np.clip(y_mm, g.y0_mm, g.y0_mm + g.pitch_mm * (g.rows - 1))
        z = self.surface.at(x, y)
        return -z if self.over else z
