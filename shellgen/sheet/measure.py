"""Thicknesses read off a plane section: where the rubber is least and most, where the wall is least. Lengths mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from shapely import contains_xy, get_coordinates, get_parts, segmentize
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray

Spot = tuple[float, float]
ALONG = 0.7  # cosine between an edge and the way from the rubber, over which it leads away from it


@dataclass(frozen=True, slots=True)
class Gauge:
    """A thickness measured in a section between two points of its plane."""

    start: Spot
    end: Spot

    @property
    def length_mm(self) -> float:
        """Distance of the two points."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


def rubber_gauges(pattern: BaseGeometry, rubber: BaseGeometry, floor: float | None, margin_mm: float) -> list[Gauge]:
    """The least and the greatest distance from the outside of the rubber to the pattern's outline, in the plane.

    floor : height of the board in the plane's second coordinate (None if the plane is level, or without a board);
    points less than `margin_mm` above it are left out, for there the rubber ends. Empty where nothing can be measured.
    """
    body = pattern.union(rubber).buffer(0.01).buffer(-0.01)
    inner, outer = _outline(pattern), _outline(body)
    if floor is not None:
        inner, outer = inner[inner[:, 1] > floor + margin_mm], outer[outer[:, 1] > floor + 0.02]
    high = outer if floor is None else outer[outer[:, 1] > floor + margin_mm]
    return [*_extremes(inner, outer)[:1], *(Gauge(g.end, g.start) for g in _extremes(high, inner)[1:])]


def wall_gauge(
    shell: BaseGeometry,
    rubber: BaseGeometry,
    reach_mm: float,
    floor: float | None,
    margin_mm: float,
    bored: BaseGeometry | None = None,
) -> list[Gauge]:
    """The least distance through the shell from its inside (within `reach_mm` of the rubber) to its outside.

    Edges that lead away from the rubber are neither: along a bore or a mating face one gets outside as well. bored :
    what lies in or beside bores through the wall, whose rims may be sharp; the inside there is left out.
    """
    whole = shell.buffer(0.03).buffer(-0.03)
    outline, (middles, ways) = _outline(whole), _stretches(whole)
    if floor is not None:
        outline = outline[outline[:, 1] > floor + 0.05]
        high = middles[:, 1] > floor + 0.05
        middles, ways = middles[high], ways[high]
    skin = _outline(rubber)
    if not len(outline) or not len(skin):
        return []
    tree = cKDTree(skin)
    away, nearest = tree.query(middles)
    leading = np.abs(np.einsum("ij,ij->i", middles - skin[nearest], ways)) > ALONG * away
    inner, outer = outline[tree.query(outline)[0] <= reach_mm], middles[(away > 2.0 * reach_mm + 0.5) & ~leading]
    if floor is not None:
        inner = inner[inner[:, 1] > floor + margin_mm]
    if bored is not None:
        inner = inner[~contains_xy(bored, inner[:, 0], inner[:, 1])]
    return _extremes(inner, outer)[:1]


def flange_gauge(shell: BaseGeometry, below_tip_mm: float) -> list[Gauge]:
    """The shortest unbroken level chord through one piece's section down to `below_tip_mm` under its highest point.

    That is the thickness of an upright flange, away from keys (longer) and holes (broken). Empty where there is none.
    """
    if shell.is_empty:
        return []
    left, _, right, top = shell.bounds
    gauges = []
    for level in np.linspace(top - 0.1 * below_tip_mm, top - below_tip_mm, 19):
        chord = shell.intersection(LineString([(left - 1.0, level), (right + 1.0, level)]))
        if chord.geom_type == "LineString" and chord.length > 0:
            gauges.append(Gauge(_spot(chord.coords[0]), _spot(chord.coords[-1])))
    return sorted(gauges, key=lambda gauge: round(gauge.length_mm, 2))[:1]


def _extremes(inner: FloatArray, outer: FloatArray) -> list[Gauge]:
    """Of the shortest ways from each inner point to the outer points, the shortest and the longest.

    Of ways equal within 0.02 mm the one furthest left, so that it is near its words.
    """
    if not len(inner) or not len(outer):
        return []
    distance, nearest = cKDTree(outer).query(inner)
    least = int(np.argmin(np.where(distance <= distance.min() + 0.02, inner[:, 0], np.inf)))
    most = int(np.argmin(np.where(distance >= distance.max() - 0.02, inner[:, 0], np.inf)))
    return [Gauge(_spot(inner[k]), _spot(outer[nearest[k]])) for k in (least, most)]


def _outline(area: BaseGeometry, step_mm: float = 0.5) -> FloatArray:
    """Points along all outlines of an area, at most `step_mm` apart, (n, 2)."""
    points: FloatArray = get_coordinates(segmentize(area.boundary, step_mm))
    return points


def _stretches(area: BaseGeometry, step_mm: float = 0.5) -> tuple[FloatArray, FloatArray]:
    """Middles (n, 2) and directions (n, 2) of the stretches of all outlines of an area, at most `step_mm` long."""
    lines = [get_coordinates(line) for line in get_parts(segmentize(area.boundary, step_mm))]
    steps = np.vstack([np.diff(line, axis=0) for line in lines] or [np.zeros((0, 2))])
    middles = np.vstack([0.5 * (line[1:] + line[:-1]) for line in lines] or [np.zeros((0, 2))])
    return middles, steps / np.maximum(np.hypot(*steps.T), 1e-12)[:, None]


def _spot(point: Sequence[float] | FloatArray) -> Spot:
    """Two floats."""
    return float(point[0]), float(point[1])
