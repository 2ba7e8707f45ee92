"""The parting flange in plan: from the shell's section at the parting to outline and bolt line."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from contourpy import contour_generator
from shapely.geometry import MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.parting.surface import Parting

ROUND = 12  # segments of a quarter circle
FAR_MM = 1e5  # beyond every mold
LIKE, BESIDE = 4.0, 1.5  # flange widths between a bolt line and an edge that it follows; that it runs beside


@dataclass(frozen=True, slots=True)
class FlangePlan:
    """The flange of a mating pair, in the first piece's plan (x, y).

    section : outside of the shell at the parting, small holes filled. outline : the flange's edge, one polygon.
    bolt_line : closed or open lines on which the bolt axes stand. seam_line : the same, where the face ends at other
    faces, out to them.
    """

    section: BaseGeometry
    outline: Polygon
    bolt_line: tuple[FloatArray, ...]
    closed: tuple[bool, ...]
    seam_line: tuple[FloatArray, ...] = ()


def polygons(item: BaseGeometry) -> list[Polygon]:
    """The polygons of any geometry."""
    if isinstance(item, Polygon):
        return [] if item.is_empty else [item]
    return [g for p in getattr(item, "geoms", ()) for g in polygons(p)]


def level_region(heights_mm: FloatArray, grid: Grid, level_mm: float = 0.0) -> MultiPolygon:
    """The plan region where a raster lies above a level."""
    lines = contour_generator(
        grid.x_mm, grid.y_mm, np.asarray(heights_mm), name="serial", fill_type="OuterOffset"
    ).filled(level_mm, np.inf)
    found = []
    for points, offsets in zip(lines[0], lines[1], strict=True):
        rings = [points[a:b] for a, b in pairwise(offsets)]
        found.append(Polygon(rings[0], rings[1:]).buffer(0))
    return MultiPolygon([p for p in polygons(shapely.union_all(found)) if p.area > 1.0])


def section_at_parting(outside: Envelope, parting: Parting) -> MultiPolygon:
    """Plan region in which a piece's outside lies above its parting."""
    g = outside.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    return level_region(outside.heights_mm - parting.at(x, y), g)


def turned_over(item: BaseGeometry) -> BaseGeometry:
    """A plan of one half in the other half's frame: x changes sign."""
    return shapely.affinity.scale(item, xfact=-1.0, yfact=1.0, origin=(0, 0))


def plan_turned_over(plan: FlangePlan) -> FlangePlan:
    """Section and outline as the second piece sees them; the lines of bolts and seam stay in the first one's plan."""
    outline = shapely.geometry.polygon.orient(turned_over(plan.outline))
    return FlangePlan(turned_over(plan.section), outline, plan.bolt_line, plan.closed)


def without_small_holes(section: BaseGeometry, wider_than_mm: float) -> BaseGeometry:
    """Fills holes in which no circle of that width fits."""
    out = []
    for p in polygons(section):
        kept = [r for r in p.interiors if not Polygon(r).buffer(-0.5 * wider_than_mm).is_empty]
        out.append(Polygon(p.exterior, kept))
    return shapely.union_all(out)


def grown(section: BaseGeometry, by_mm: float, rounding_mm: float) -> BaseGeometry:
    """The section grown, its notches narrower than twice the rounding closed."""
    return section.buffer(by_mm + rounding_mm, quad_segs=ROUND).buffer(-rounding_mm, quad_segs=ROUND)


def flange_plan(
    section: BaseGeometry,
    *,
    width_mm: float,
    bolt_mm: float,
    rounding_mm: float,
    board_gap_mm: float | None,
    axis_gap_mm: float | None = None,
) -> FlangePlan:
    """Outline and bolt line about a section.

    width_mm : wall to edge; bolt_mm : wall to bolt axis; board_gap_mm : least height of a bolt axis above the board
    (None where there is no board); axis_gap_mm : least distance of a bolt axis from the axis x = 0 at which a radial
    mating face ends (None where it does not). Parts of the section that stand apart are joined by one flange.
    """
    section = without_small_holes(section, 3 * width_mm)
    whole, rings = _about(section, width_mm, bolt_mm, rounding_mm)
    lines, closed = [], []
    for ring in rings:
        if board_gap_mm is None and axis_gap_mm is None:
            lines.append(ring)
            closed.append(bool(np.allclose(ring[0], ring[-1])))
            continue
        low, high = ring.min(axis=0) - 1, ring.max(axis=0) + 1
        left = low[0] if axis_gap_mm is None else axis_gap_mm
        foot = low[1] if board_gap_mm is None else board_gap_mm
        above = shapely.LineString(ring).intersection(box(left, foot, max(high[0], left + 1), max(high[1], foot + 1)))
        if above.geom_type == "MultiLineString":
            above = shapely.line_merge(above)
        for part in getattr(above, "geoms", [above]):
            if part.geom_type == "LineString" and part.length > 0:
                coords = np.asarray(part.coords)
                lines.append(coords)
                closed.append(bool(np.allclose(coords[0], coords[-1])))
    seams: list[FloatArray] = []
    if axis_gap_mm is not None:
        face = box(0.0, -FAR_MM if board_gap_mm is None else 0.0, FAR_MM, FAR_MM)
        seams = [part for ring in rings for part in _parts_within(ring, face)]
    if board_gap_mm is not None or axis_gap_mm is not None:
        low, high = np.asarray(whole.bounds[:2]), np.asarray(whole.bounds[2:])
        left = low[0] - 1 if axis_gap_mm is None else 0.0
        clipped = whole.intersection(box(left, low[1] - 1 if board_gap_mm is None else 0.0, high[0] + 1, high[1] + 1))
        whole = max(polygons(clipped), key=lambda p: p.area)
    whole = whole.simplify(0.02)
    return FlangePlan(section, shapely.geometry.polygon.orient(whole), tuple(lines), tuple(closed), tuple(seams))


def _about(
    section: BaseGeometry, width_mm: float, bolt_mm: float, rounding_mm: float
) -> tuple[Polygon, list[FloatArray]]:
    """A section's flange as one polygon, and the lines (n, 2) on which its bolts stand, closed or parts of such."""
    rounding = rounding_mm
    outline = grown(section, width_mm, rounding)
    while len(polygons(outline)) > 1:  # one flange: close the gap between parts
        rounding *= 1.6
        outline = grown(section, width_mm, rounding)
    line = grown(section, bolt_mm, rounding)
    holes_kept = 0.5 * width_mm
    whole = polygons(outline)[0]
    whole = Polygon(whole.exterior, [r for r in whole.interiors if not Polygon(r).buffer(-holes_kept).is_empty])
    line_rings = [np.asarray(r.coords) for p in polygons(line) for r in (p.exterior, *p.interiors)]
    # bolts only along edges of the outline that stay open: a filled hole has no edge to hold together
    edges = [whole.exterior, *whole.interiors]
    return whole, [part for ring in line_rings for part in _along_edges(ring, edges, width_mm)]


def _along_edges(ring: FloatArray, edges: list[shapely.LinearRing], width_mm: float) -> list[FloatArray]:
    """A closed line where it follows one of the edges; else what of it runs beside any of them."""
    if min(shapely.LineString(ring).hausdorff_distance(e) for e in edges) < LIKE * width_mm:
        return [ring]
    # of two legs joined at their feet the outline has two edges, and the line round the legs' insides and outsides one
    return _parts_within(ring, shapely.union_all(edges).buffer(BESIDE * width_mm))


def plan_within(
    section: BaseGeometry,
    *,
    width_mm: float,
    bolt_mm: float,
    rounding_mm: float,
    room: Polygon,
    bolt_room: Polygon,
    edge_mm: float,
) -> FlangePlan:
    """Outline and bolt line about a section of a mating face that ends at other faces.

    room : what of its plane the face covers; bolt_room : where bolt axes may stand, edge_mm at least from the
    outline's edge. Else as `flange_plan`.
    """
    section = without_small_holes(section.intersection(room), 3 * width_mm)
    whole, rings = _about(section, width_mm, bolt_mm, rounding_mm)
    whole = max(polygons(whole.intersection(room)), key=lambda p: p.area).simplify(0.02)
    free = bolt_room.intersection(whole.buffer(-edge_mm))
    lines = [part for line in rings for part in _parts_within(line, free)]
    closed = tuple(bool(np.allclose(line[0], line[-1])) for line in lines)
    seams = tuple(part for line in rings for part in _parts_within(line, room.buffer(-0.01)))
    return FlangePlan(section, shapely.geometry.polygon.orient(whole), tuple(lines), closed, seams)


def _parts_within(line: FloatArray, region: BaseGeometry) -> list[FloatArray]:
    """The parts of a line (n, 2) that lie in a region, each as one line."""
    cut = shapely.LineString(line).intersection(region)
    cut = shapely.line_merge(cut) if cut.geom_type == "MultiLineString" else cut
    found = [part for part in getattr(cut, "geoms", [cut]) if part.geom_type == "LineString" and part.length > 0]
    return [np.asarray(part.coords) for part in found]


def ring(coords: FloatArray) -> tuple[tuple[float, float], ...]:
    """A closed line without its repeated end as plain data."""
    points = np.asarray(coords)[:, :2]
    if np.allclose(points[0], points[-1]):
        points = points[:-1]
    return tuple((float(x), float(y)) for x, y in points)
