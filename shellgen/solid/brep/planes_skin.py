"""Where a skin meets several planes: a trimming curve on each, joined on creases, and what it stands over at sides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Difference
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.planes_graph import ON_MM, PlanesGraph
from shellgen.solid.brep.trace import TrimCurve, trace

MEET_MM = 0.01  # ends of two lines on a crease, each found for itself


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a side's line that a skin stands over, from place to place (x, y) along the line's way.

    corners : whether its ends lie on another side, where the skin's edge turns a corner instead of meeting its trim.
    """

    side: Line
    low: tuple[float, float]
    high: tuple[float, float]
    corners: tuple[bool, bool]


def planes_curves(graph: SplineGraph, trim: PlanesGraph, wanted: FloatArray) -> tuple[TrimCurve, ...]:
    """Lines in which a graph meets the planes of its trim, their ends on creases the same to the bit.

    wanted : (n, 3) as for `trace`. Raises KernelError where there is none, or one ends on a crease by itself.
    """
    x, y = wanted[:, 0], wanted[:, 1]
    top, within = trim.top(x, y), trim.within(x, y)
    found: list[TrimCurve] = []
    for k, plane in enumerate(trim.planes):
        mine = wanted[(top == k) & within]
        found += trace(Difference(graph, plane), graph.box_mm, trim.bounds(k), mine, may_miss=True)
    if not found:
        raise KernelError("a shell surface does not reach the planes that it is trimmed at")
    return met_on_creases(found, trim)


def met_on_creases(curves: list[TrimCurve], trim: PlanesGraph) -> tuple[TrimCurve, ...]:
    """Curves whose ends on a crease are the same point to the bit. Raises KernelError for an end without a partner."""
    poles = [c.curve.poles_mm.copy() for c in curves]
    ends = [(k, n) for k, c in enumerate(curves) if not c.curve.closed for n in (0, -1)]
    for i in range(len(trim.planes)):
        for j in range(i + 1, len(trim.planes)):
            crease = trim.crease(i, j)
            if crease is None:
                continue
            on = [(float(poles[k][n] @ crease.way), k, n) for k, n in ends if _on_crease(poles[k][n], trim, i, j)]
            on.sort(key=lambda e: e[0])
            if len(on) % 2:
                raise KernelError("a shell surface's edge ends on the line between two mating faces without going on")
            for (a, k, n), (b, m, o) in zip(on[::2], on[1::2], strict=True):
                place = crease.place(0.5 * (a + b))
                if abs(a - b) > MEET_MM:
                    x, y = place
                    raise KernelError(
                        f"a shell surface's edges miss each other by {abs(a - b):.4f} mm at ({x:.1f}, {y:.1f})"
                    )
                poles[k][n] = poles[m][o] = place
    return tuple(replace(c, curve=replace(c.curve, poles_mm=p)) for c, p in zip(curves, poles, strict=True))


def _on_crease(point: FloatArray, trim: PlanesGraph, i: int, j: int) -> bool:
    """Whether a place lies on the line between two planes, on no side, and no plane is higher there."""
    x, y = point
    crease = trim.crease(i, j)
    if crease is None or abs(float(crease.over(x, y))) > ON_MM or not trim.within(x, y, ON_MM):
        return False
    steep = float(np.hypot(trim.planes[i].a - trim.planes[j].a, trim.planes[i].b - trim.planes[j].b))
    return float(trim.at(x, y) - trim.planes[i].at(x, y)) < 2 * ON_MM * max(steep, 1.0)


def stretches(graph: SplineGraph, trim: PlanesGraph, curves: tuple[TrimCurve, ...]) -> tuple[Stretch, ...]:
    """What a graph stands over of the lines that end its trim's plan, from ends of its curves and corners on."""
    ends = [c.curve.poles_mm[k] for c in curves if not c.curve.closed for k in (0, -1)]
    above = Difference(graph, trim)
    out = []
    for side in trim.edges:
        stops = [(p, False) for p in ends if abs(float(side.over(p[0], p[1]))) < ON_MM]
        for other in trim.edges:
            corner = _corner(side, other)
            if corner is None or not (trim.within(corner[0], corner[1], -ON_MM) and _inside(graph, corner)):
                continue
            if float(above.at(corner[0], corner[1])) > 0:
                stops.append((corner, True))
        stops.sort(key=lambda s: float(s[0] @ side.way))
        for (p, first), (q, last) in pairwise(stops):
            x, y = 0.5 * (p + q)
            if trim.within(x, y, -ON_MM) and float(above.at(x, y)) > 0:
                low, high = (float(p[0]), float(p[1])), (float(q[0]), float(q[1]))
                out.append(Stretch(side, low, high, (first, last)))
    return tuple(out)


def _corner(one: Line, other: Line) -> FloatArray | None:
    """Where two lines cross; None for parallel ones."""
    rows = np.stack([one.normal, other.normal])
    if abs(float(np.linalg.det(rows))) < ON_MM:
        return None
    # the same to the bit whichever comes first
    order = slice(None) if (one.a, one.b) < (other.a, other.b) else slice(None, None, -1)
    levels = np.array([-one.c_mm, -other.c_mm])
    return np.asarray(np.linalg.solve(rows[order], levels[order]))


def _inside(graph: SplineGraph, point: FloatArray) -> bool:
    """Whether a place lies in a graph's rectangle."""
    x0, y0, x1, y1 = graph.box_mm
    return bool(x0 < point[0] < x1 and y0 < point[1] < y1)
