"""Splits a traced skin where it stands in several places: each gets a graph of its own, no larger than it needs.

A file holds a surface once for every face on it, poles and all.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, SplineGraph
from shellgen.solid.brep.graph import Difference
from shellgen.solid.brep.planar_curve import reclamped
from shellgen.solid.brep.traced_skin import TracedSkin

ON_MM = 1e-6


def skin_parts(skin: TracedSkin) -> tuple[TracedSkin, ...]:
    """The skin's regions above its trim, from left to right, each with its own curves and part of the graph."""
    lines = [shapely.LineString(_closed(c.curve.polygon(), c.curve.closed)) for c in skin.curves]
    chords = []
    if skin.low_y_mm is not None:
        ends = [c.curve.poles_mm[k] for c in skin.curves if not c.curve.closed for k in (0, -1)]
        stops = sorted(float(x) for x, y in ends if abs(y - skin.low_y_mm) < ON_MM)
        chords = [shapely.LineString([(a, skin.low_y_mm), (b, skin.low_y_mm)]) for a, b in pairwise(stops)][::2]
    chords += [shapely.LineString([s.low, s.high]) for s in skin.stretches]
    found = []
    above = Difference(skin.graph, skin.trim)
    for region in shapely.polygonize([*lines, *chords]).geoms:
        spot = region.representative_point()
        if float(above.at(np.array(spot.x), np.array(spot.y))) <= 0:
            continue
        rim = region.boundary.buffer(ON_MM)
        curves = tuple(
            c for c, line in zip(skin.curves, lines, strict=True) if rim.contains(shapely.Point(line.coords[1]))
        )
        along = tuple(s for s in skin.stretches if rim.contains(shapely.LineString([s.low, s.high]).centroid))
        found.append(replace(skin, graph=cropped(skin.graph, region.bounds), curves=curves, stretches=along))
    if sum(len(p.curves) for p in found) != len(skin.curves):  # lines that touch: one face of many loops
        whole = shapely.union_all(lines).bounds
        return (replace(skin, graph=cropped(skin.graph, whole)),)
    return tuple(sorted(found, key=lambda p: p.graph.box_mm))


def _closed(points: FloatArray, closed: bool) -> FloatArray:
    """Points of a line, the last made the first to the bit if it is closed."""
    return np.vstack([points[:-1], points[:1]]) if closed else points


def cropped(graph: SplineGraph, bounds_mm: tuple[float, float, float, float]) -> SplineGraph:
    """The same graph over less: from the knot before a rectangle (x0, y0, x1, y1) to the knot after it."""
    from scipy.interpolate import BSpline

    x0, y0, x1, y1 = bounds_mm
    knots_x, poles = _within(BSpline(graph.knots_x, graph.poles_mm, DEGREE), x0, x1)
    knots_y, turned = _within(BSpline(graph.knots_y, np.ascontiguousarray(poles.T), DEGREE), y0, y1)
    return SplineGraph(knots_x, knots_y, np.ascontiguousarray(turned.T))


def _within(curve, low: float, high: float) -> tuple[FloatArray, FloatArray]:  # type: ignore[no-untyped-def]
    breaks = curve.t[DEGREE:-DEGREE]
    a = max(int(np.searchsorted(breaks, low, side="left")) - 1, 0)
    b = min(int(np.searchsorted(breaks, high, side="right")), len(breaks) - 1)
    return reclamped(curve, breaks[a + 1 : b], float(breaks[a]), float(breaks[b]), False)
