"""Ports that do not stand wholly on the shell: joined to the finished piece and bored out of it by booleans.

A boss that runs over the wall's edge onto the flange crosses the lines in which they meet; such a one is rare, and only
round walls meet splines here, which OCC joins without trouble. Its foot ends within wall and flange, halfway through.
"""

from __future__ import annotations

from typing import Any

import shapely

from shellgen.envelope.spline_fit_graph import SplineGraph
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import Graph, PlaneGraph
from shellgen.solid.brep.planes_graph import PlanesGraph
from shellgen.solid.brep.port import Bore, PortPlan
from shellgen.solid.brep.shapes import feature_solid, fused, leaning_slab, less
from shellgen.solid.brep.skin_parts import cropped
from shellgen.solid.recipe import Frustum, PieceRecipe

AROUND_MM = 2.0
OVER_MM = 1.0  # bores run on beyond what they leave by
DEEP_MM = 500.0

Box = tuple[float, float, float, float]


def with_ports(
    solid: Any, ports: tuple[PortPlan, ...], recipe: PieceRecipe, inside: SplineGraph, low: Graph, what: str
) -> Any:
    """The piece with such ports. inside, low : its inner skin and what that is trimmed at.

    Raises KernelError if it comes out in pieces.
    """
    wall = 0.5 * (recipe.outside.radius_mm - recipe.inside.radius_mm)
    flange = 0.5 * recipe.outline.thickness_mm
    for port in ports:
        top = port.bore.end_mm
        if port.boss is not None:
            top = port.boss.end_mm
            (x, y), r = port.boss.middle, port.boss.radius_mm + AROUND_MM
            box = (x - r, y - r, x + r, y + r)
            rooms = [_under_spline(inside, wall, box), *_under(low, flange, box)]
            boss = less(_round(port.boss, port.boss.foot_mm, top), rooms, what)
            solid = fused([solid, boss], what)
        cuts = [_round(b, b.foot_mm, top + OVER_MM) for b in (port.bore, *port.inserts)]
        solid = less(solid, cuts, what)
    solids = occ.explored(solid, "solid")
    if len(solids) != 1:
        raise KernelError(f"{what}: with its port it comes out in {len(solids)} pieces")
    return solids[0]


def _round(wall: Bore, low_mm: float, high_mm: float) -> Any:
    x, y = wall.middle
    return feature_solid(Frustum((x, y, low_mm), (0.0, 0.0, 1.0), high_mm - low_mm, wall.radius_mm, wall.radius_mm))


def _under(graph: Graph, raised_mm: float, box: Box) -> list[Any]:
    """Solids that together hold what lies under a raised graph in a rectangle."""
    if isinstance(graph, SplineGraph):
        return [_under_spline(graph, raised_mm, box)]
    planes = graph.planes if isinstance(graph, PlanesGraph) else (graph,)
    low = [PlaneGraph(p.c_mm + raised_mm - DEEP_MM, p.a, p.b) for p in planes if isinstance(p, PlaneGraph)]
    return [leaning_slab(shapely.box(*box), plane, DEEP_MM) for plane in low]


def _under_spline(graph: SplineGraph, raised_mm: float, box: Box) -> Any:
    """What lies under a raised spline in a rectangle, as far as it reaches there."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    whole = graph.box_mm
    part = cropped(
        graph,
        (max(box[0], whole[0]), max(box[1], whole[1]), min(box[2], whole[2]), min(box[3], whole[3])),
    )
    lifted = SplineGraph(part.knots_x, part.knots_y, part.poles_mm + raised_mm)
    face = BRepBuilderAPI_MakeFace(occ.spline_surface(lifted), occ.TIGHT_MM).Face()
    return BRepPrimAPI_MakePrism(face, gp_Vec(0.0, 0.0, -DEEP_MM)).Shape()
