"""A plane through a skin: the lines in which the two meet, as curves of the plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.planar_curve import PlanarCurve, chords, through
from shellgen.solid.brep.trace import TRACE_MM

GRID_MM = 0.25  # on which lines are looked for
STEPS_MM = (1.0, 0.5, 0.25, 0.12)  # between points of a curve: the next where the one before does not do
NEWTONS = 12
LEAST_POINTS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Meeting:
    """A line of a section: its curve in the plane's axes, and the greatest height between curve and skin [mm]."""

    curve: PlanarCurve
    error_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """A plane, by a point and two unit axes at right angles, that cuts a graph."""

    origin_mm: FloatArray
    first: FloatArray
    second: FloatArray
    graph: Graph

    def space(self, points: FloatArray) -> FloatArray:
        """Points (..., 2) of the plane in space, (..., 3)."""
        return self.origin_mm + points[..., :1] * self.first + points[..., 1:] * self.second

    def over(self, points: FloatArray) -> FloatArray:
        """How far the graph lies over points (..., 2) [mm]."""
        at = self.space(points)
        return self.graph.at(at[..., 0], at[..., 1]) - at[..., 2]

    def slopes(self, points: FloatArray) -> FloatArray:
        """How that changes along both axes, (..., 2)."""
        at = self.space(points)
        gx, gy = self.graph.gradient(at[..., 0], at[..., 1])
        return np.stack([gx * e[0] + gy * e[1] - e[2] for e in (self.first, self.second)], axis=-1)

    def lines(self, low: tuple[float, float], high: tuple[float, float]) -> list[FloatArray]:
        """Polylines (n, 2) in which the graph meets a rectangle of the plane, the graph below on their left."""
        from contourpy import contour_generator

        axes = [np.linspace(a, b, max(int((b - a) / GRID_MM), 4) + 1) for a, b in zip(low, high, strict=True)]
        grid = np.stack(np.meshgrid(*axes), axis=-1)
        out = []
        for line in contour_generator(*axes, self.over(grid)).lines(0.0):
            k = len(line) // 2
            way, middle = line[k] - line[k - 1], 0.5 * (line[k] + line[k - 1])
            up = self.slopes(middle)
            out.append(np.asarray(line if way[0] * up[1] - way[1] * up[0] < 0 else line[::-1]))
        return out

    def root(self, point: FloatArray, axis: int) -> FloatArray:
        """The place on the graph near a point (2,), found along one axis."""
        at = np.array(point, float)
        for _ in range(NEWTONS):
            at[axis] -= float(self.over(at)) / float(self.slopes(at)[axis])
        return at

    def followed(self, polyline: FloatArray, start: FloatArray, end: FloatArray) -> Meeting:
        """The curve on the graph from start to end that runs near a polyline (n, 2), as near as was reached.

        Raises KernelError where there is none.
        """
        t = chords(polyline, False)
        best: Meeting | None = None
        for step in STEPS_MM:
            n = max(int(np.ceil(t[-1] / step)), LEAST_POINTS - 1)
            at = np.linspace(0.0, t[-1], n + 1)
            points = np.column_stack([np.interp(at, t, polyline[:, k]) for k in (0, 1)])
            for _ in range(NEWTONS):
                up = self.slopes(points)
                points = points - (self.over(points) / np.maximum((up**2).sum(axis=1), 1e-9))[:, None] * up
            points[0], points[-1] = start, end
            if not np.isfinite(points).all() or float(np.hypot(*np.diff(points, axis=0).T).min()) < 1e-3:
                continue
            curve = through(points, False)
            error = float(np.abs(self.over(curve.polygon(8))).max())
            if best is None or error < best.error_mm:
                best = Meeting(curve, error)
            if error <= TRACE_MM:
                break
        if best is None:
            raise KernelError("its edge on the wall cannot be followed")
        return best
