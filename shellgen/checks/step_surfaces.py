"""Surfaces of a solid that was read back: its round bores, its mating face, its two skins."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from shellgen.checks.step_reread import GraphOf, graph_on
from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph
from shellgen.parting.surface import Parting, PlanesParting, ValleyParting
from shellgen.solid.recipe import Feature, Frustum, PieceRecipe

SAME_MM = 1e-3
EXACT_MM = 1e-6
INNER_MM = 2.0
LAND_MM = 0.2  # a flat skin may lie no farther off than the clearance, over most of what it covers

Field = Callable[[FloatArray, FloatArray], FloatArray]


def bores_missing(solid: Any, features: tuple[Feature, ...]) -> list[Frustum]:
    """Cylinders that features cut and that no hollow round face of the solid has, by radius and axis."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cylinder
    from OCP.TopAbs import TopAbs_REVERSED

    from shellgen.solid.brep.occ import explored

    found = []
    for item in explored(solid, "face"):
        surface = BRepAdaptor_Surface(item)
        if surface.GetType() == GeomAbs_Cylinder:
            cylinder = surface.Cylinder()
            inward = (item.Orientation() == TopAbs_REVERSED) == cylinder.Direct()
            if inward:
                at, way = cylinder.Axis().Location(), cylinder.Axis().Direction()
                found.append((cylinder.Radius(), (at.X(), at.Y(), at.Z()), (way.X(), way.Y(), way.Z())))
    radii = np.array([f[0] for f in found])
    at, way = np.array([f[1] for f in found]).reshape(-1, 3), np.array([f[2] for f in found]).reshape(-1, 3)
    missing = []
    for shape in designed_bores(features):
        away = np.linalg.norm(np.cross(np.asarray(shape.base) - at, way), axis=1)
        skew = np.linalg.norm(np.cross(np.asarray(shape.axis), way), axis=1)
        if not np.any((np.abs(radii - shape.r0_mm) < SAME_MM) & (away < SAME_MM) & (skew < SAME_MM)):
            missing.append(shape)
    return missing


def designed_bores(features: tuple[Feature, ...]) -> list[Frustum]:
    """The cylinders that features cut."""
    return [f.shape for f in features if not f.add and isinstance(f.shape, Frustum) and f.shape.r0_mm == f.shape.r1_mm]


def mating_planes(parting: Parting) -> list[tuple[FloatArray, float]]:
    """Unit normals into the piece, and offsets along them, of the planes that a parting is made of: floors, then sides.

    None where the parting is stepped.
    """
    if parting.flat:
        return [(np.array([0.0, 0.0, 1.0]), 0.0)]
    if isinstance(parting, ValleyParting):
        lean = float(np.hypot(1.0, parting.slope))
        return [(np.array([-sign * parting.slope, 0.0, 1.0]) / lean, 0.0) for sign in (1.0, -1.0)]
    out = []
    if isinstance(parting, PlanesParting):
        for a, b, c in parting.planes:
            lean = float(np.sqrt(1.0 + a * a + b * b))
            out.append((np.array([-a, -b, 1.0]) / lean, c / lean))
        out += [(np.array([a, b, 0.0]), -c) for a, b, c in parting.sides]
    return out


def mating_area_mm2(solid: Any, up: FloatArray, offset_mm: float = 0.0) -> float:
    """Area of the faces that lie in the plane with that normal and offset, to a millionth, and look against it.

    0 if there are none.
    """
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepGProp import BRepGProp
    from OCP.GeomAbs import GeomAbs_Plane
    from OCP.GProp import GProp_GProps
    from OCP.TopAbs import TopAbs_FORWARD

    from shellgen.solid.brep.occ import explored

    total = 0.0
    for item in explored(solid, "face"):
        surface = BRepAdaptor_Surface(item)
        if surface.GetType() != GeomAbs_Plane:
            continue
        flat = surface.Plane()
        direction, at = flat.Axis().Direction(), flat.Location()
        normal = np.array([direction.X(), direction.Y(), direction.Z()])
        outward = normal if (item.Orientation() == TopAbs_FORWARD) == flat.Direct() else -normal
        off = abs(float(np.array([at.X(), at.Y(), at.Z()]) @ up) - offset_mm)
        if float(np.linalg.norm(outward + up)) < EXACT_MM and off < EXACT_MM:
            properties = GProp_GProps()
            BRepGProp.SurfaceProperties_s(item, properties)
            total += properties.Mass()
    return total


def without(
    graphs: list[SplineGraph], recipe: PieceRecipe, field: Field
) -> tuple[list[SplineGraph], list[SplineGraph]]:
    """Graphs of faces that follow a height field over most of a piece's flange, and the others."""
    o = recipe.outline
    plan = shapely.Polygon(o.outer, o.holes).buffer(-INNER_MM)
    shapely.prepare(plan)
    x0, y0, x1, y1 = plan.bounds
    x, y = (a.ravel() for a in np.meshgrid(np.arange(x0, x1, INNER_MM), np.arange(y0, y1, INNER_MM)))
    land: list[SplineGraph] = []
    rest: list[SplineGraph] = []
    for graph in graphs:
        low_x, low_y, high_x, high_y = graph.box_mm
        here = (x > low_x) & (x < high_x) & (y > low_y) & (y < high_y) & shapely.contains_xy(plan, x, y)
        off = np.abs(graph.at(x[here], y[here]) - field(x[here], y[here]))
        (land if len(off) and float(np.median(off)) < LAND_MM else rest).append(graph)
    return land, rest


def skins_of(solid: Any, graph_of: GraphOf = graph_on) -> tuple[list[SplineGraph], list[SplineGraph]]:
    """Graphs of the faces that look against the pull (the inside) and of those that look along it (the outside)."""
    from OCP.TopAbs import TopAbs_FORWARD

    from shellgen.solid.brep.occ import explored

    inside: list[SplineGraph] = []
    outside: list[SplineGraph] = []
    for item in explored(solid, "face"):
        graph = graph_of(item)
        if graph is not None:
            (outside if item.Orientation() == TopAbs_FORWARD else inside).append(graph)
    return inside, outside
