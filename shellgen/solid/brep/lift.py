"""Lifts a flat plate onto two graphs: its plane faces become the graphs, its upright walls stay, their edges move.

The plate's topology is kept as it is. Edges in the lower plane are laid on the lower graph, those in the upper plane on
the upper one, at the same plan; everything between moves up or down with the terrace it stands on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph, greville
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.caps import ON_MM
from shellgen.solid.brep.laid_edge import LaidPart, laid_parts, rim_parts
from shellgen.solid.brep.loops import Side, sampled
from shellgen.solid.brep.upright import drawn_line, ends_where_drawn, is_flat, is_upright, raised

MOST_SPANS = 90  # see `skin_face`


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """A graph that takes the place of a plane z = level, and its surface."""

    graph: SplineGraph
    surface: Any
    level_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class New:
    """A new edge: laid on a graph, moved by so much along z, or drawn anew along z (1 up from z = 0, -1 down)."""

    edge: Any
    laid: LaidPart | None = None
    by_mm: float = 0.0
    drawn: float = 0.0


def _shape_numbers() -> Any:
    from OCP.TopTools import TopTools_IndexedMapOfShape

    return TopTools_IndexedMapOfShape()


@dataclass(slots=True, eq=False)
class Lift:
    """Carries the parts of one flat plate up; each vertex and edge once.

    level : how far a point of the plate between its planes moves. most_spans : of one edge on a graph.
    """

    low: Ground
    high: Ground
    level: Callable[[float, float, float], float]
    what: str
    most_spans: int = MOST_SPANS
    _numbers: Any = field(default_factory=_shape_numbers)
    _vertices: dict[int, Any] = field(default_factory=dict)
    _edges: dict[int, list[New]] = field(default_factory=dict)

    def pin(self, flat: Any, lifted: Any) -> None:
        """Say which vertex a flat one becomes."""
        self._vertices[self._key(flat)] = lifted

    def sides(self, flat: list[Side]) -> list[Side]:
        """Sides in one of the planes, on its graph."""
        out = []
        for side in flat:
            parts = [Side(n.edge, True, n.laid.plan_mm) for n in self._edge(side.edge) if n.laid is not None]
            out += parts if side.along else [p.turned() for p in reversed(parts)]
        return out

    def upright_sides(self, flat: list[Side], plan: FloatArray) -> list[Side]:
        """Sides in an upright plane with the axes plan (2, 3), which stays where it is."""
        out = []
        for side in flat:
            parts = [sampled(n.edge, True, plan) for n in self._edge(side.edge)]
            out += parts if side.along else [p.turned() for p in reversed(parts)]
        return out

    def faces(self, flat: list[Any]) -> list[Any]:
        """Faces that lie in neither plane."""
        for item in flat:
            if not is_upright(item):
                self._rims(item)
        return [self._face(item) for item in flat]

    def _key(self, shape: Any) -> int:
        """The same for all uses of a shape."""
        return int(self._numbers.Add(shape))

    def _ground(self, z: float) -> Ground | None:
        return next((g for g in (self.low, self.high) if abs(z - g.level_mm) < ON_MM), None)

    def _by(self, *vertices: Any) -> float:
        """How far the first of some vertices that lies in neither plane moves; 0 if all do."""
        from OCP.BRep import BRep_Tool

        points = (BRep_Tool.Pnt_s(v) for v in vertices)
        return next((self.level(p.X(), p.Y(), p.Z()) for p in points if self._ground(p.Z()) is None), 0.0)

    def _vertex(self, v: Any) -> Any:
        from OCP.BRep import BRep_Tool

        key = self._key(v)
        if key not in self._vertices:
            p = BRep_Tool.Pnt_s(v)
            ground = self._ground(p.Z())
            z = p.Z() + self._by(v) if ground is None else float(_at(ground, p.X(), p.Y()))
            self._vertices[key] = occ.vertex(np.array([p.X(), p.Y(), z]), occ.SPLINE_MM)
        return self._vertices[key]

    def _edge(self, flat: Any) -> list[New]:
        """The new edges of a flat one, in its own direction."""
        from OCP.BRep import BRep_Tool
        from OCP.TopAbs import TopAbs_FORWARD
        from OCP.TopExp import TopExp
        from OCP.TopoDS import TopoDS

        key = self._key(flat)
        if key in self._edges:
            return self._edges[key]
        bare = TopoDS.Edge_s(flat.Oriented(TopAbs_FORWARD))
        first, last = TopExp.FirstVertex_s(bare), TopExp.LastVertex_s(bare)
        z0, z1 = BRep_Tool.Pnt_s(first).Z(), BRep_Tool.Pnt_s(last).Z()
        ground = self._ground(z0)
        made: list[New]
        if ground is not None and ground is self._ground(z1):
            made = self._on(ground, laid_parts(bare, ground.graph, self.most_spans), first, last)
        elif BRep_Tool.Degenerated_s(bare):
            made = [New(self._tip(first))]
        elif abs(z0 - z1) < ON_MM or (ground is None and self._ground(z1) is None):
            made = [self._moved_edge(bare, first, last)]
        else:
            made = [self._rising_edge(bare, first, last)]
        self._edges[key] = made
        return made

    def _on(self, ground: Ground, parts: list[LaidPart], first: Any, last: Any) -> list[New]:
        """Edges on a graph between two flat vertices."""
        ends = [self._vertex(first)]
        ends += [occ.vertex(p.poles_mm[-1], p.tolerance_mm) for p in parts[:-1]]
        ends.append(ends[0] if first.IsSame(last) else self._vertex(last))
        made: list[New] = []
        for part, a, b in zip(parts, ends[:-1], ends[1:], strict=True):
            low, high = float(part.knots[0]), float(part.knots[-1])
            item = occ.edge(occ.spline_curve(part.knots, part.poles_mm), a, b, low, high, part.tolerance_mm)
            plan = occ.spline_curve_2d(part.knots, part.poles_mm[:, :2])
            occ.lay_on(item, plan, ground.surface, low, high, part.tolerance_mm)
            made.append(New(item, part))
        return made

    def _tip(self, flat: Any) -> Any:
        """The tip of a dome, an edge without length."""
        from OCP.BRep import BRep_Builder
        from OCP.TopAbs import TopAbs_FORWARD, TopAbs_REVERSED
        from OCP.TopoDS import TopoDS_Edge

        at, out, builder = self._vertex(flat), TopoDS_Edge(), BRep_Builder()
        builder.MakeEdge(out)
        for way in (TopAbs_FORWARD, TopAbs_REVERSED):
            builder.Add(out, at.Oriented(way))
        builder.Degenerated(out, True)
        return out

    def _moved_edge(self, bare: Any, first: Any, last: Any) -> New:
        """An edge that touches neither plane, moved with its terrace."""
        from OCP.BRep import BRep_Tool
        from OCP.gp import gp_Vec

        a = self._vertex(first)
        b = a if first.IsSame(last) else self._vertex(last)
        by = BRep_Tool.Pnt_s(a).Z() - BRep_Tool.Pnt_s(first).Z()
        moved = BRep_Tool.Curve_s(bare, 0.0, 1.0).Translated(gp_Vec(0.0, 0.0, by))
        return New(occ.edge(moved, a, b, *_range(bare), BRep_Tool.Tolerance_s(bare)), None, by)

    def _rising_edge(self, bare: Any, first: Any, last: Any) -> New:
        """An edge between the planes that leads up, straight or along a round flank, to where its ends have moved."""
        from OCP.BRep import BRep_Tool
        from OCP.Geom import Geom_Line
        from OCP.GeomAPI import GeomAPI_ProjectPointOnCurve
        from OCP.gp import gp_Dir, gp_Pnt, gp_Vec

        curve = BRep_Tool.Curve_s(bare, 0.0, 1.0)
        a, b = self._vertex(first), self._vertex(last)
        p, q = BRep_Tool.Pnt_s(a), BRep_Tool.Pnt_s(b)
        if (q.Z() - p.Z()) * (BRep_Tool.Pnt_s(last).Z() - BRep_Tool.Pnt_s(first).Z()) <= 0:
            raise KernelError(f"{self.what}: a wall at ({p.X():.1f}, {p.Y():.1f}) ends before it begins")
        if ends_where_drawn(curve, p, q):
            up = 1.0 if q.Z() > p.Z() else -1.0
            line = Geom_Line(gp_Pnt(p.X(), p.Y(), 0.0), gp_Dir(0.0, 0.0, up))
            return New(occ.edge(line, a, b, up * p.Z(), up * q.Z(), BRep_Tool.Tolerance_s(bare)), drawn=up)
        by = self._by(first, last)
        moved = curve.Translated(gp_Vec(0.0, 0.0, by))
        ends = [float(GeomAPI_ProjectPointOnCurve(point, moved).LowerDistanceParameter()) for point in (p, q)]
        return New(occ.edge(moved, a, b, ends[0], ends[1], BRep_Tool.Tolerance_s(bare)), None, by)

    def _rims(self, item: Any) -> None:
        """Where a key's flank, no upright wall, comes out of a graph: the true line of both."""
        from OCP.BRep import BRep_Tool
        from OCP.TopExp import TopExp

        for flat in occ.explored(item, "edge"):
            first, last = TopExp.FirstVertex_s(flat), TopExp.LastVertex_s(flat)
            ground = self._ground(BRep_Tool.Pnt_s(first).Z())
            within = ground is not None and ground is self._ground(BRep_Tool.Pnt_s(last).Z())
            if ground is None or not within or self._key(flat) in self._edges:
                continue
            if not first.IsSame(last) or is_flat(item):
                raise KernelError(f"{self.what}: a key's foot runs into something else")
            parts = rim_parts(flat, item, ground.graph, self._by(*occ.explored(item, "vertex")), self.most_spans)
            self._vertices[self._key(first)] = occ.vertex(parts[0].poles_mm[0], parts[0].tolerance_mm)
            self._edges[self._key(flat)] = self._on(ground, parts, first, last)

    def _face(self, item: Any) -> Any:
        """One face on its own surface with its new edges."""
        from OCP.BRep import BRep_Tool
        from OCP.BRepTools import BRepTools_WireExplorer
        from OCP.Geom import Geom_Plane
        from OCP.gp import gp_Vec
        from OCP.TopAbs import TopAbs_FORWARD
        from OCP.TopoDS import TopoDS

        forward = TopoDS.Face_s(item.Oriented(TopAbs_FORWARD))
        surface = BRep_Tool.Surface_s(forward)
        by: float | None = None  # an upright wall stays
        if not is_upright(item):
            by = self._by(*occ.explored(item, "vertex"))
            surface = surface.Translated(gp_Vec(0.0, 0.0, by))
        wires = []
        for wire in occ.explored(forward, "wire"):
            walk = BRepTools_WireExplorer(wire, forward)
            row: list[tuple[Any, bool]] = []
            while walk.More():
                flat = TopoDS.Edge_s(walk.Current())
                along = flat.Orientation() == TopAbs_FORWARD
                made = self._edge(flat)
                if not isinstance(surface, Geom_Plane):
                    for new in made:
                        self._lay(flat, forward, new, surface, by)
                chain = [(n.edge, along) for n in made]
                row += chain if along else chain[::-1]
                walk.Next()
            wires.append(row)
        return occ.face(surface, wires, item.Orientation() == TopAbs_FORWARD)

    def _lay(self, flat: Any, forward: Any, new: New, surface: Any, by: float | None) -> None:
        """Give a new edge its line in the parameters of a curved face, which was moved by so much if it is no wall."""
        from OCP.BRep import BRep_Builder, BRep_Tool
        from OCP.TopAbs import TopAbs_FORWARD, TopAbs_REVERSED
        from OCP.TopLoc import TopLoc_Location
        from OCP.TopoDS import TopoDS

        item, laid = new.edge, new.laid
        ways = (TopAbs_FORWARD, TopAbs_REVERSED)
        lines = [
            BRep_Tool.CurveOnSurface_s(TopoDS.Edge_s(flat.Oriented(way)), forward, 0.0, 1.0)
            for way in (ways if BRep_Tool.IsClosed_s(flat, forward) else (flat.Orientation(),))
        ]
        if any(line is None for line in lines):
            raise KernelError(f"{self.what}: an edge of its plate has no place on a wall")
        builder, here = BRep_Builder(), TopLoc_Location()
        if laid is not None:
            low, high = float(laid.knots[0]), float(laid.knots[-1])
            u0, u1 = (lines[0].Value(s).X() for s in (low, high))
            u = u0 + (u1 - u0) * (greville(laid.knots) - low) / (high - low)  # the wall's own parameter along it
            plan = occ.spline_curve_2d(laid.knots, np.column_stack([u, laid.heights_on(surface)]))
            occ.lay_on(item, plan, surface, low, high, laid.tolerance_mm)
            return
        if new.drawn:
            lines = [drawn_line(line, new.drawn, surface) for line in lines]
        elif by is None:
            lines = [raised(line, new.by_mm, surface) for line in lines]
        if len(lines) == 2:
            builder.UpdateEdge(item, lines[0], lines[1], surface, here, BRep_Tool.Tolerance_s(flat))
        else:
            builder.UpdateEdge(item, lines[0], surface, here, BRep_Tool.Tolerance_s(flat))
        if BRep_Tool.Degenerated_s(item):
            builder.Range(item, *_range_2d(flat, forward))
        else:
            builder.Range(item, surface, here, *_range(item))


def _range_2d(flat: Any, forward: Any) -> tuple[float, float]:
    from OCP.BRepAdaptor import BRepAdaptor_Curve2d

    line = BRepAdaptor_Curve2d(flat, forward)
    return line.FirstParameter(), line.LastParameter()


def _at(ground: Ground, x: float, y: float) -> FloatArray:
    return ground.graph.at(np.array(x), np.array(y))


def _range(item: Any) -> tuple[float, float]:
    from OCP.BRepAdaptor import BRepAdaptor_Curve

    curve = BRepAdaptor_Curve(item)
    return curve.FirstParameter(), curve.LastParameter()
