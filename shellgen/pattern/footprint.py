"""Sections of a solid at a height, as clean plane figures."""

from __future__ import annotations

import shapely
from shapely.geometry import MultiPolygon, Polygon

from shellgen.pattern.bodies import Solid

SLIVER_MM2 = 1.0


def section(solid: Solid, z_mm: float) -> MultiPolygon:
    """The solid's section at a height as it is (x, y in mm); empty where the solid is not there."""
    rings = [ring for ring in solid.slice(z_mm).to_polygons() if len(ring) >= 3]
    if not rings:
        return MultiPolygon()
    whole = shapely.make_valid(_even_odd([Polygon(ring) for ring in rings]))
    return _multi(whole)


def footprint(solid: Solid, z_mm: float) -> MultiPolygon:
    """The section just above the board, clean: splinters and pinholes under 1 mm2 dropped, close points thinned."""
    figures = []
    for figure in section(solid, z_mm).geoms:
        if figure.area < SLIVER_MM2:
            continue
        holes = [hole for hole in figure.interiors if Polygon(hole).area >= SLIVER_MM2]
        figures.append(Polygon(figure.exterior, holes).simplify(0.005).buffer(0))
    return _multi(shapely.union_all(figures)) if figures else MultiPolygon()


def _even_odd(figures: list[Polygon]) -> shapely.Geometry:
    """Rings of a section run round the material: what an odd number of rings encloses is in."""
    whole: shapely.Geometry = MultiPolygon()
    for figure in sorted(figures, key=lambda f: -f.area):
        whole = shapely.symmetric_difference(whole, figure.buffer(0))
    return whole


def _multi(geometry: shapely.Geometry) -> MultiPolygon:
    if geometry.geom_type == "Polygon":
        return MultiPolygon([geometry]) if not geometry.is_empty else MultiPolygon()
    return MultiPolygon([g for g in getattr(geometry, "geoms", ()) if g.geom_type == "Polygon" and not g.is_empty])
