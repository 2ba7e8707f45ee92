"""The faces of one gusset: two sides, a back, and a level top where the wall leans away from its foot."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.solid.brep import occ
from shellgen.solid.brep.loops import Side, faces_of
from shellgen.solid.brep.skin_face import MARGIN
from shellgen.solid.brep.skin_section import Meeting, Section
from shellgen.solid.brep.web_plan import WebPlan

XY = np.eye(3)[:2]
ON_MM = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class WebFaces:
    """A web's faces, its edges on the wall with the skin on their left, and those on the flange likewise."""

    faces: list[Any]
    wall: list[Side]
    rim: list[Side]


def _edge(meeting: Meeting, section: Section, ends: tuple[Any, Any], surface: Any) -> Any:
    """An edge along a meeting, laid on the surface it follows."""
    curve = meeting.curve
    tolerance = max(MARGIN * meeting.error_mm, occ.SPLINE_MM)
    low, high = float(curve.knots[0]), float(curve.knots[-1])
    poles = section.space(curve.poles_mm)
    poles[0], poles[-1] = (_point(v) for v in ends)  # lines that meet must do so to the last bit
    item = occ.edge(occ.spline_curve(curve.knots, poles), *ends, low, high, tolerance)
    occ.lay_on(item, occ.spline_curve_2d(curve.knots, poles[:, :2]), surface, low, high, tolerance)
    return item


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """An edge and points along it in space."""

    edge: Any
    points: FloatArray

    def side(self, along: bool, axes: FloatArray) -> Side:
        """A side of it in the plan of axes (2, 3)."""
        plan = self.points @ axes.T
        return Side(self.edge, along, plan if along else plan[::-1])


def _meeting_line(meeting: Meeting, section: Section, ends: tuple[Any, Any], surface: Any) -> _Line:
    return _Line(_edge(meeting, section, ends, surface), section.space(meeting.curve.polygon()))


def _straight(first: Any, last: Any) -> _Line:
    return _Line(occ.straight(first, last, occ.SPLINE_MM), np.array([_point(first), _point(last)]))


def _point(v: Any) -> FloatArray:
    from OCP.BRep import BRep_Tool

    p = BRep_Tool.Pnt_s(v)
    return np.array([p.X(), p.Y(), p.Z()])


def web_faces(plan: WebPlan, feet: list[Any], surface: Any, land: Any, what: str) -> WebFaces:
    """All faces of a web."""
    frame = plan.frame
    wide, skin = frame.wall_mm, plan.wall
    top, back = frame.top(skin), frame.slope(skin)
    tips = [occ.vertex(p) for p in plan.tips]
    knees = [occ.vertex(top.space(np.array([s, 0.0])), occ.SPLINE_MM) for s in plan.knees]
    heads: list[Any] = [None, None]
    level = [False, False]  # whether a side ends on the level top
    lines: dict[str, list[_Line]] = {"top": [], "back": []}

    def stop(point: FloatArray, section: Section, on_top: bool) -> Any:
        """The vertex at an end of a line on the wall (s, way)."""
        if abs(point[1]) < ON_MM and len(plan.knees):
            k = int(np.argmin(np.abs(np.array(plan.knees) - point[0])))
            return knees[k]
        k = 0 if point[0] < 0.5 * wide else 1
        heads[k], level[k] = occ.vertex(section.space(point), occ.SPLINE_MM), on_top
        return heads[k]

    for name, section, meetings in (("top", top, plan.tops), ("back", back, plan.backs)):
        for m in meetings:
            ends = tuple(stop(m.curve.poles_mm[n], section, name == "top") for n in (0, -1))
            lines[name].append(_meeting_line(m, section, (ends[0], ends[1]), surface))
    corners = [
        occ.vertex(top.space(np.array([s, 0.0]))) if on else None for s, on in zip((0.0, wide), level, strict=True)
    ]
    along_knee = [*([corners[0]] if level[0] else []), *knees, *([corners[1]] if level[1] else [])]
    ridge = [_straight(a, b) for a, b in list(pairwise(along_knee))[::2]]
    rises = [
        _meeting_line(m, frame.side(s, skin), (foot, head), surface)
        for m, s, foot, head in zip(plan.sides, (0.0, wide), feet, heads, strict=True)
    ]
    if plan.ridges is None:
        runs = [_straight(a, b) for a, b in zip(feet, tips, strict=True)]
        end = _straight(tips[0], tips[1])
    else:
        runs = [
            _meeting_line(m, frame.side(s, plan.land), (a, b), land)
            for m, s, a, b in zip(plan.ridges[:2], (0.0, wide), feet, tips, strict=True)
        ]
        end = _meeting_line(plan.ridges[2], frame.slope(plan.land), (tips[0], tips[1]), land)
    # web on the left in (s, r), seen from over it
    above = np.array([frame.across, frame.out])
    on_top = [line.side(True, above) for line in lines["top"]] + [line.side(False, above) for line in ridge]
    on_back = [line.side(True, above) for line in lines["back"]] + [line.side(True, above) for line in ridge]
    faces: list[Any] = []
    for k, s in enumerate((0.0, wide)):
        upright = np.array([frame.out, frame.up])
        falls = [_straight(corners[k], tips[k])] if level[k] else [_straight(heads[k], tips[k])]
        on_side = [runs[k].side(True, upright), falls[0].side(False, upright), rises[k].side(False, upright)]
        on_back.append(falls[0].side(k == 1, above))
        if level[k]:
            crown = _straight(heads[k], corners[k])
            on_side.append(crown.side(False, upright))
            on_top.append(crown.side(k == 1, above))
        at = frame.origin_mm + s * frame.across
        faces += faces_of(on_side, _plane(at, frame.out, frame.across), k == 1, what)
    on_back.append(end.side(False, above))
    at = top.origin_mm
    if on_top:
        faces += faces_of(on_top, _plane(at, frame.across, frame.up), True, what)
    faces += faces_of(on_back, _plane(at, frame.across, np.cross(frame.across, frame.back)), True, what)
    # the skin lies on the left of the way from s = wall to s = 0
    wall_sides = [rises[1].side(True, XY), rises[0].side(False, XY)]
    wall_sides += [line.side(False, XY) for name in lines for line in lines[name]]
    rim = [runs[1].side(True, XY), end.side(False, XY), runs[0].side(False, XY)]
    return WebFaces(faces, wall_sides, rim)


def _plane(at: FloatArray, x_axis: FloatArray, normal: FloatArray) -> Any:
    triples = [(float(v[0]), float(v[1]), float(v[2])) for v in (at, x_axis, normal)]
    return occ.plane(*triples)
