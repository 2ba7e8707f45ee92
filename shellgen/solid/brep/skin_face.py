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
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.planar_curve import PlanarCurve
from shellgen.solid.brep.planes_skin import Stretch
from shellgen.solid.brep.side_edge import upright_side
from shellgen.solid.brep.trace import ON_CLIP_MM
from shellgen.solid.brep.traced_skin import TracedSkin

Met = tuple[tuple[float, float], Any]
MARGIN = 2.0  # on the greatest gap found between sampled points: OCC looks between them


@dataclass(frozen=True, slots=True, eq=False)
class SkinFace:
    """One region of a fitted skin above its trim, with its edges.

    trims : sides along the trim; isos : sides along y = low_y or along upright sides of the trim, both with the skin on
    the left in (x, y). met : ((x, y), vertex) where trims end, on such a line or on a crease of the trim; corners :
    where isos meet each other.
    """

    graph: SplineGraph
    surface: Any
    trims: tuple[Side, ...]
    isos: tuple[Side, ...]
    met: tuple[Met, ...]
    corners: tuple[Met, ...] = ()

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
        return sorted(((x, vertex) for (x, _), vertex in self.met), key=lambda e: e[0])

    @property
    def met(self) -> list[Met]:
        """((x, y), vertex) where trims end, all faces together."""
        return [m for f in self.faces for m in f.met]

    @property
    def corners(self) -> list[Met]:
        """((x, y), vertex) where sides along upright planes meet, all faces together."""
        return [m for f in self.faces for m in f.corners]


def laid(
    skin: TracedSkin, parts: tuple[TracedSkin, ...], surfaces: tuple[Any, ...], most_spans: int, trim: Any = None
) -> Skin:
    """A skin's faces, by its parts and their surfaces; trims are cut into pieces of at most so many spans.

    trim : the surface that the skin is trimmed at, where that is a spline too.
    """
    return Skin(skin.graph, tuple(_face(p, s, most_spans, trim) for p, s in zip(parts, surfaces, strict=True)))


def _face(skin: TracedSkin, surface: Any, most_spans: int, trim_surface: Any) -> SkinFace:
    """Edges of one part's trims, and of the lines between them at which it is cut off."""
    graph, trim, low_y = skin.graph, skin.trim, skin.low_y_mm
    trims: list[Side] = []
    met: dict[tuple[float, float], Any] = {}
    for traced in skin.curves:
        tolerance = max(MARGIN * traced.error_mm, occ.SPLINE_MM)
        # a whole closed curve is periodic to readers, which may start it a turn late
        parts = traced.curve.parts(most_spans, traced.stops, 2 if traced.curve.closed else 1)
        plan = [*(p.poles_mm[0] for p in parts), traced.curve.poles_mm[-1]]
        stops = [occ.vertex(_in_space(p[None], trim)[0], tolerance) for p in plan]
        if traced.curve.closed:
            stops[-1] = stops[0]
        else:
            for k in (0, -1):  # the same point to the bit on both planes of a crease
                stops[k] = met.setdefault((float(plan[k][0]), float(plan[k][1])), stops[k])
        for c, first, last in zip(parts, stops, stops[1:], strict=False):
            low, high = float(c.knots[0]), float(c.knots[-1])
            poles = np.column_stack([c.poles_mm, _lifted(c, trim)])
            item = occ.edge(occ.spline_curve(c.knots, poles), first, last, low, high, tolerance)
            occ.lay_on(item, occ.spline_curve_2d(c.knots, c.poles_mm), surface, low, high, tolerance)
            if trim_surface is not None:
                occ.lay_on(item, occ.spline_curve_2d(c.knots, c.poles_mm), trim_surface, low, high, tolerance)
            trims.append(Side(item, True, c.polygon()))
    corners: dict[tuple[float, float], Any] = {}
    isos = [upright_side(graph, surface, s, met, corners) for s in skin.stretches]
    if low_y is not None:
        ends = sorted(p for p in met if abs(p[1] - low_y) < ON_CLIP_MM)
        board = Line(0.0, 1.0, -low_y)
        for low_end, high_end in zip(ends[::2], ends[1::2], strict=True):
            isos.append(upright_side(graph, surface, Stretch(board, low_end, high_end, (False, False)), met, corners))
    return SkinFace(graph, surface, tuple(trims), tuple(isos), tuple(met.items()), tuple(corners.items()))


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
