"""Several planes as one graph, the highest counts, within upright sides: what skins between planes are trimmed at.

Two planes meet in a crease; a side is a plane along the pull that ends the plan. Both are straight lines in plan, and a
skin's edge passes from plane to plane on creases and ends on sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.errors import KernelError
from shellgen.parting.surface import PlanesParting, ValleyParting
from shellgen.solid.brep.graph import Graph, PlaneGraph
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.recipe import PieceRecipe

NIL = 1e-9  # slopes and offsets that are nothing but rounding
ON_MM = 1e-4  # from a line in plan
BEYOND_MM = 1.5  # a skin is fitted that far beyond its sides


@dataclass(frozen=True, slots=True)
class PlanesGraph:
    """The highest of several planes; sides, board: where its plan ends. Heights go on beyond them."""

    planes: tuple[PlaneGraph, ...]
    sides: tuple[Line, ...] = ()
    board: Line | None = None

    @property
    def edges(self) -> tuple[Line, ...]:
        """All lines that end the plan: sides, the board last."""
        return self.sides if self.board is None else (*self.sides, self.board)

    def _heights(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        x, y = np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float))
        return np.stack([p.at(x, y) for p in self.planes])

    def at(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights [mm]."""
        return np.asarray(self._heights(x_mm, y_mm).max(axis=0))

    def top(self, x_mm: FloatArray, y_mm: FloatArray) -> npt.NDArray[np.intp]:
        """Which plane is the highest."""
        return np.asarray(self._heights(x_mm, y_mm).argmax(axis=0))

    def gradient(self, x_mm: FloatArray, y_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes of the highest plane."""
        k = self.top(x_mm, y_mm)
        return np.array([p.a for p in self.planes])[k], np.array([p.b for p in self.planes])[k]

    def on_grid(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """Heights over a grid, shape (len(y), len(x)) [mm]."""
        return self.at(*np.meshgrid(x_mm, y_mm))

    def within(self, x_mm: FloatArray, y_mm: FloatArray, by_mm: float = 0.0) -> npt.NDArray[np.bool_]:
        """Which points lie at least that far inside of all sides and over the board."""
        return _inside(self.edges, x_mm, y_mm, by_mm)

    def crease(self, k: int, j: int) -> Line | None:
        """The line on whose inner side plane k is higher than plane j; None where they are parallel."""
        p, q = self.planes[k], self.planes[j]
        size = float(np.hypot(p.a - q.a, p.b - q.b))
        return None if size < NIL else Line((p.a - q.a) / size, (p.b - q.b) / size, (p.c_mm - q.c_mm) / size)

    def bounds(self, k: int) -> tuple[Line, ...]:
        """The lines that bound what plane k covers: creases, then sides and board."""
        creases = (self.crease(k, j) for j in range(len(self.planes)) if j != k)
        return (*(c for c in creases if c is not None), *self.edges)


def _inside(lines: tuple[Line, ...], x_mm: FloatArray, y_mm: FloatArray, by_mm: float) -> npt.NDArray[np.bool_]:
    """Which points lie at least that far inside of lines."""
    inside = np.ones(np.broadcast(x_mm, y_mm).shape, bool)
    for line in lines:
        inside &= line.over(x_mm, y_mm) >= by_mm
    return inside


def within_sides(trim: PlanesGraph, x_mm: FloatArray, y_mm: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points lie inside of a trim's sides: all of them where it has none."""
    return _inside(trim.sides, x_mm, y_mm, 0.0)


def fitted_level(envelope: Envelope, trim: Graph, beyond_mm: float = BEYOND_MM) -> FloatArray:
    """Heights of a trim over an envelope's raster; well beyond its sides nothing of the envelope lies over them."""
    x, y = envelope.grid.x_mm, envelope.grid.y_mm
    level = trim.on_grid(x, y)
    if not isinstance(trim, PlanesGraph):
        return level
    near = _inside(trim.sides, *np.meshgrid(x, y), -beyond_mm)
    return np.where(near, level, np.maximum(level, envelope.heights_mm))


def planes_of(recipe: PieceRecipe) -> tuple[PlanesGraph, PlanesGraph]:
    """What inside and outside of a piece between planes are trimmed at: mating faces, outer faces of their plates.

    The outside ends on the base flange where there is one. Raises KernelError for other partings.
    """
    parting, thick = recipe.parting, recipe.outline.thickness_mm
    if isinstance(parting, ValleyParting):
        slopes = ((parting.slope, 0.0, 0.0), (-parting.slope, 0.0, 0.0))
        parting = PlanesParting(slopes)
    if not isinstance(parting, PlanesParting):
        raise KernelError(f"shell piece {recipe.name}: its parting is no list of planes")
    planes = [PlaneGraph(*(_no_rounding(v) for v in (c, a, b))) for a, b, c in parting.planes]
    raised = [PlaneGraph(p.c_mm + thick * float(np.sqrt(1 + p.a**2 + p.b**2)), p.a, p.b) for p in planes]
    sides = [Line(*(_no_rounding(v) for v in side)) for side in parting.sides]
    low = PlanesGraph(tuple(planes), tuple(sides))
    high = PlanesGraph(tuple(raised), tuple(s.moved(thick) for s in sides))
    if not recipe.on_board:
        return low, high
    board = Line(0.0, 1.0, 0.0)
    return replace(low, board=board), replace(
        high, board=board if recipe.base is None else board.moved(recipe.base.thickness_mm)
    )


def _no_rounding(value: float) -> float:
    return 0.0 if abs(value) < NIL else value
