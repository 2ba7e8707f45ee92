"""Faces from loose edges: edges that bound a region on their left are walked into loops, loops nested into faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep.occ import face


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of an edge: the region to bound lies on the left of the way it is run in plan.

    edge : of OCC; along : run from its first vertex to its last; plan_mm : (n, 2) points on it, in running order.
    """

    edge: Any
    along: bool
    plan_mm: FloatArray

    def turned(self) -> Side:
        """The other side of the same edge."""
        return Side(self.edge, not self.along, self.plan_mm[::-1])


def sampled(edge: Any, along: bool, axes: FloatArray) -> Side:
    """A side with its points in the plan spanned by axes (2, 3): x and y of the plan in space."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_BSplineCurve, GeomAbs_Line

    curve = BRepAdaptor_Curve(edge)
    kind = curve.GetType()
    n = 2 if kind == GeomAbs_Line else 4 * curve.NbKnots() if kind == GeomAbs_BSplineCurve else 33
    at = [curve.Value(float(t)) for t in np.linspace(curve.FirstParameter(), curve.LastParameter(), n)]
    plan = np.array([[p.X(), p.Y(), p.Z()] for p in at]) @ axes.T
    return Side(edge, along, plan if along else plan[::-1])


def walked(sides: list[Side], where: str) -> list[list[Side]]:
    """Closed loops of sides, each starting where the one before ends. Raises KernelError if they do not close."""
    from OCP.TopExp import TopExp
    from OCP.TopTools import TopTools_IndexedMapOfShape

    numbers = TopTools_IndexedMapOfShape()
    ends = []
    for s in sides:
        first, last = numbers.Add(TopExp.FirstVertex_s(s.edge)), numbers.Add(TopExp.LastVertex_s(s.edge))
        ends.append((first, last) if s.along else (last, first))
    leaving: dict[int, list[int]] = {}
    for k, (a, _) in enumerate(ends):
        leaving.setdefault(a, []).append(k)
    left = dict.fromkeys(range(len(sides)))
    loops = []
    while left:
        k = next(iter(left))
        start, loop = ends[k][0], []
        while True:
            del left[k]
            loop.append(sides[k])
            at = ends[k][1]
            if at == start:
                break
            free = [n for n in leaving.get(at, []) if n in left]
            if not free:
                x, y = sides[k].plan_mm[-1]
                raise KernelError(f"{where}: its edge breaks off at ({x:.2f}, {y:.2f})")
            k = free[0] if len(free) == 1 else _leftmost(sides, k, free)
        loops.append(loop)
    return loops


def _leftmost(sides: list[Side], come: int, free: list[int]) -> int:
    """At a vertex where loops touch: the way on that keeps the region in one piece."""
    back = sides[come].plan_mm[-2] - sides[come].plan_mm[-1]
    base = np.arctan2(back[1], back[0])

    def turn(n: int) -> float:
        way = sides[n].plan_mm[1] - sides[n].plan_mm[0]
        return float((base - np.arctan2(way[1], way[0])) % (2 * np.pi))

    return min(free, key=turn)


def loop_polygon(loop: list[Side]) -> FloatArray:
    """A loop's points (n, 2) in order."""
    return np.concatenate([s.plan_mm[:-1] for s in loop])


def faces_of(sides: list[Side], surface: Any, outward: bool, where: str, tolerance_mm: float = 1e-7) -> list[Any]:
    """All faces on one surface that the sides bound: loops run counter-clockwise are outer, others are their holes."""
    import shapely

    loops = walked(sides, where)
    polygons = [loop_polygon(loop) for loop in loops]
    areas = [_area(p) for p in polygons]
    outer = [k for k in range(len(loops)) if areas[k] > 0]
    shapes = {k: shapely.Polygon(polygons[k]).buffer(1e-3) for k in outer}
    holes: dict[int, list[int]] = {k: [] for k in outer}
    for k in range(len(loops)):
        if areas[k] > 0:
            continue
        point = shapely.Point(polygons[k][0])
        round_it = [n for n in outer if shapes[n].contains(point) and areas[n] > -areas[k]]
        if not round_it:
            x, y = polygons[k][0]
            raise KernelError(f"{where}: a hole at ({x:.2f}, {y:.2f}) lies outside of it")
        holes[min(round_it, key=lambda n: areas[n])].append(k)
    out = []
    for k in outer:
        wires = [[(s.edge, s.along) for s in loops[n]] for n in (k, *holes[k])]
        out.append(face(surface, wires, outward, tolerance_mm))
    return out


def _area(ring: FloatArray) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
