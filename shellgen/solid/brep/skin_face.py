"""A shell surface as OCC takes it: its surface, the edges where it meets planes, cut into pieces OCC can judge.

OCC samples an edge at 300 points when it asks which side of a wire is inside, and adds up the angles of that polygon:
long edges must be cut, and pieces must meet to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, SplineGraph, greville
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.loops import Side, loop_polygon, walked
from shellgen.solid.brep.planar_curve import PlanarCurve, reclamped
from shellgen.solid.brep.trace import ON_CLIP_MM
from shellgen.solid.brep.traced_skin import TracedSkin

MARGIN = 2.0  # on the greatest gap found between sampled points: OCC looks between them


@dataclass(frozen=True, slots=True, eq=False)
class SkinFace:
    """One region of a fitted skin above its trim, with its edges.

    trims : sides along the trim; isos : sides along y = low_y (empty without one), both with the skin on the left in
    (x, y). ends : (x, vertex) where trims end on y = low_y, in rising x. crease : (y, vertex) where they pass x = 0
    from one plane to another, in rising y.
    """

    graph: SplineGraph
    surface: Any
    trims: tuple[Side, ...]
    isos: tuple[Side, ...]
    ends: tuple[tuple[float, Any], ...]
    crease: tuple[tuple[float, Any], ...] = ()

    @property
    def region(self) -> Any:
        """What the face covers in plan, as a shapely polygon. Raises KernelError if its edge crosses itself."""
        out = shapely.Polygon()
        loops = walked([*self.trims, *self.isos], "a skin's edge")
        for ring in sorted((shapely.Polygon(loop_polygon(loop)) for loop in loops), key=lambda p: -p.area):
            if not ring.is_valid:
                raise KernelError(f"a skin's edge crosses itself: {shapely.is_valid_reason(ring)}")
            out = out.union(ring) if ring.exterior.is_ccw else out.difference(ring)
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """A whole skin: its graph, and its faces."""

    graph: SplineGraph
    faces: tuple[SkinFace, ...]

    @property
    def trims(self) -> list[Side]:
        """Sides along the trim, all faces together."""
        return [s for f in self.faces for s in f.trims]

    @property
    def isos(self) -> list[Side]:
        """Sides along y = low_y, all faces together."""
        return [s for f in self.faces for s in f.isos]

    @property
    def ends(self) -> list[tuple[float, Any]]:
        """(x, vertex) where trims end on y = low_y, in rising x."""
        return sorted((e for f in self.faces for e in f.ends), key=lambda e: e[0])

    @property
    def crease(self) -> list[tuple[float, Any]]:
        """(y, vertex) where trims pass x = 0, in rising y."""
        return sorted((e for f in self.faces for e in f.crease), key=lambda e: e[0])


def laid(
    skin: TracedSkin, parts: tuple[TracedSkin, ...], surfaces: tuple[Any, ...], most_spans: int, trim: Any = None
) -> Skin:
    """A skin's faces, by its parts and their surfaces; trims are cut into pieces of at most so many spans.

    trim : the surface that the skin is trimmed at, where that is a spline too.
    """
    return Skin(skin.graph, tuple(_face(p, s, most_spans, trim) for p, s in zip(parts, surfaces, strict=True)))


def _face(skin: TracedSkin, surface: Any, most_spans: int, trim_surface: Any) -> SkinFace:
    """Edges of one part's trims, and of the line y = low_y between them."""
    graph, trim, low_y = skin.graph, skin.trim, skin.low_y_mm
    trims: list[Side] = []
    ends: list[tuple[float, Any]] = []
    crease: dict[float, Any] = {}
    for traced in skin.curves:
        tolerance = max(MARGIN * traced.error_mm, occ.SPLINE_MM)
        # a whole closed curve is periodic to readers, which may start it a turn late
        parts = traced.curve.parts(most_spans, traced.stops, 2 if traced.curve.closed else 1)
        plan = [*(p.poles_mm[0] for p in parts), traced.curve.poles_mm[-1]]
        stops = [occ.vertex(_in_space(p[None], trim)[0], tolerance) for p in plan]
        if traced.curve.closed:
            stops[-1] = stops[0]
        else:
            for k in (0, -1):
                if low_y is not None and abs(plan[k][1] - low_y) < ON_CLIP_MM:
                    ends.append((float(plan[k][0]), stops[k]))
                else:  # the same point to the bit on both planes
                    stops[k] = crease.setdefault(float(plan[k][1]), stops[k])
        for c, first, last in zip(parts, stops, stops[1:], strict=False):
            low, high = float(c.knots[0]), float(c.knots[-1])
            poles = np.column_stack([c.poles_mm, _lifted(c, trim)])
            item = occ.edge(occ.spline_curve(c.knots, poles), first, last, low, high, tolerance)
            occ.lay_on(item, occ.spline_curve_2d(c.knots, c.poles_mm), surface, low, high, tolerance)
            if trim_surface is not None:
                occ.lay_on(item, occ.spline_curve_2d(c.knots, c.poles_mm), trim_surface, low, high, tolerance)
            trims.append(Side(item, True, c.polygon()))
    ends.sort(key=lambda e: e[0])
    isos = _isos(graph, trim, surface, ends, low_y) if low_y is not None else ()
    return SkinFace(graph, surface, tuple(trims), isos, tuple(ends), tuple(sorted(crease.items())))


def _in_space(plan: FloatArray, trim: Graph) -> FloatArray:
    """Plan points (n, 2) on a graph."""
    return np.column_stack([plan, trim.at(plan[:, 0], plan[:, 1])])


def _lifted(curve: PlanarCurve, trim: Graph) -> FloatArray:
    """Heights of poles that carry a plan curve up onto a graph: exact on planes, to the trace's tolerance on others."""
    from scipy.interpolate import make_interp_spline

    t = np.clip(greville(curve.knots), curve.knots[0], curve.knots[-1])
    at = curve.at(t)
    z = make_interp_spline(t, trim.at(at[:, 0], at[:, 1]), t=curve.knots, k=DEGREE).c
    return np.round(np.asarray(z), 9)


def _isos(
    graph: SplineGraph, trim: Graph, surface: Any, ends: list[tuple[float, Any]], low_y: float
) -> tuple[Side, ...]:
    """Edges of the skin along y = low_y: between pairs of ends, where it lies above its trim."""
    from scipy.interpolate import BSpline

    out = []
    inner = graph.knots_x[4:-4]
    row = BSpline(graph.knots_x, graph.row(low_y), DEGREE)
    for (x0, first), (x1, last) in zip(ends[::2], ends[1::2], strict=True):
        knots, heights = reclamped(row, inner[(inner > x0) & (inner < x1)], x0, x1, False)
        plan = np.column_stack([greville(knots), np.full(len(heights), low_y)])
        plan[0, 0], plan[-1, 0] = x0, x1
        heights[[0, -1]] = trim.at(np.array([x0, x1]), np.array([low_y, low_y]))
        item = occ.edge(
            occ.spline_curve(knots, np.column_stack([plan, np.round(heights, 9)])), first, last, x0, x1, occ.SPLINE_MM
        )
        occ.lay_on(item, occ.spline_curve_2d(knots, plan), surface, x0, x1, occ.SPLINE_MM)
        x = np.linspace(x0, x1, max(int(4 * (x1 - x0)), 64))
        out.append(Side(item, True, np.column_stack([x, np.full_like(x, low_y)])))
    return tuple(out)
