"""What stands along z in a plate of OCC: its upright walls, and lines in their parameters as edges on them move."""

from __future__ import annotations

from typing import Any

from shellgen.solid.brep import occ
from shellgen.solid.brep.caps import ON_MM


def is_upright(item: Any) -> bool:
    """Whether a face stands along z."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    return stands_along_z(BRepAdaptor_Surface(item))


def stands_along_z(surface: Any) -> bool:
    """Whether a surface, as OCC's adaptor gives it, stands along z everywhere."""
    from OCP.GeomAbs import GeomAbs_Cylinder, GeomAbs_Plane, GeomAbs_SurfaceOfExtrusion

    kind = surface.GetType()
    if kind == GeomAbs_Plane:
        return abs(surface.Plane().Axis().Direction().Z()) < 1e-9
    if kind == GeomAbs_Cylinder:
        return abs(abs(surface.Cylinder().Axis().Direction().Z()) - 1) < 1e-9
    return bool(kind == GeomAbs_SurfaceOfExtrusion and abs(abs(surface.Direction().Z()) - 1) < 1e-9)


def is_flat(item: Any) -> bool:
    """Whether a face is plane."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane

    return bool(BRepAdaptor_Surface(item).GetType() == GeomAbs_Plane)


def ends_where_drawn(curve: Any, p: Any, q: Any) -> bool:
    """Whether an edge along z has a spline for its line, which ends where the edge did."""
    from OCP.Geom import Geom_BSplineCurve

    return isinstance(curve, Geom_BSplineCurve) and abs(p.X() - q.X()) + abs(p.Y() - q.Y()) < ON_MM


def drawn_line(line: Any, up: float, surface: Any) -> Any:
    """The line in the parameters of an upright wall of an edge drawn along z, up from z = 0 or down from it."""
    from OCP.gp import gp_Pnt, gp_Vec

    p, du, dv, start = gp_Pnt(), gp_Vec(), gp_Vec(), line.Value(line.FirstParameter())
    surface.D1(start.X(), 0.0, p, du, dv)
    return occ.line_2d((start.X(), -p.Z() / dv.Z()), (0.0, up / dv.Z()))


def raised(line: Any, by_mm: float, surface: Any) -> Any:
    """A line in the parameters of an upright wall, moved up it."""
    from OCP.gp import gp_Pnt, gp_Vec, gp_Vec2d

    p, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(line.Value(line.FirstParameter() if line.FirstParameter() > -1e9 else 0.0).X(), 0.0, p, du, dv)
    return line.Translated(gp_Vec2d(0.0, by_mm / dv.Z()))
