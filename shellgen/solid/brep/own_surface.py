"""Gives faces that share a graph surfaces of their own, no larger than they need.

A file holds a surface once for every face on it, poles and all.
"""

from __future__ import annotations

from typing import Any

from shellgen.envelope.spline_fit_graph import SplineGraph
from shellgen.solid.brep import occ
from shellgen.solid.brep.skin_parts import cropped


def own_surfaces(faces: list[Any], graph: SplineGraph, surface: Any) -> list[Any]:
    """Faces on a graph's surface, each on the part of it that it covers; a single one stays as it is."""
    return faces if len(faces) < 2 else [_on_its_own(f, graph, surface) for f in faces]


def _on_its_own(item: Any, graph: SplineGraph, surface: Any) -> Any:
    from OCP.BRep import BRep_Builder, BRep_Tool
    from OCP.BRepTools import BRepTools
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS, TopoDS_Face

    forward = TopoDS.Face_s(item.Oriented(TopAbs_FORWARD))
    low_x, high_x, low_y, high_y = BRepTools.UVBounds_s(forward)
    own = occ.spline_surface(cropped(graph, (low_x, low_y, high_x, high_y)))
    for edge in occ.explored(forward, "edge"):
        bare = TopoDS.Edge_s(edge.Oriented(TopAbs_FORWARD))
        curve = BRep_Tool.CurveOnSurface_s(bare, surface, TopLoc_Location(), 0.0, 0.0)
        low, high = BRep_Tool.Range_s(bare)
        occ.lay_on(bare, curve, own, low, high, BRep_Tool.Tolerance_s(bare))
    builder, out = BRep_Builder(), TopoDS_Face()
    builder.MakeFace(out, own, BRep_Tool.Tolerance_s(forward))
    for wire in occ.explored(forward, "wire"):
        builder.Add(out, wire)
    return out if item.Orientation() == TopAbs_FORWARD else out.Reversed()
