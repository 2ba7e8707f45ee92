"""Sections at a height as clean plane figures."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry import MultiPolygon, Polygon

from shellgen.pattern.bodies import Solid
from shellgen.pattern.pattern import FloatArray

SLIVER_MM2 = 1.0


def section(solid: Solid, z_mm: float) -> MultiPolygon:
    """The solid's section at a height as it is (x, y in mm); empty where the solid is not there."""
    return _figure(solid.slice(z_mm).to_polygons())


def ring_figure(rings: Sequence[FloatArray]) -> MultiPolygon:
    """The figure that rings (k, 2) with material on their left enclose; where they overlap it is in once."""
    import manifold3d as m3

    if not rings:
        return MultiPolygon()
    return _figure(m3.CrossSection(list(rings), m3.FillRule.Positive).to_polygons())


def clean(figure: MultiPolygon) -> MultiPolygon:
    """A footprint from a section: splinters and pinholes under 1 mm2 dropped, close points thinned (0.005 mm)."""
    figures = []
    for part in figure.geoms:
        if part.area < SLIVER_MM2:
            continue
        holes = [hole for hole in part.interiors if Polygon(hole).area >= SLIVER_MM2]
        figures.append(Polygon(part.exterior, holes).simplify(0.005).buffer(0))
    return _multi(shapely.union_all(figures)) if figures else MultiPolygon()


def _figure(rings: Sequence[FloatArray]) -> MultiPolygon:
    figures = [Polygon(ring) for ring in rings if len(ring) >= 3]
    return _multi(shapely.make_valid(_even_odd(figures))) if figures else MultiPolygon()


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
