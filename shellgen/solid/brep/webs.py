"""Gussets as faces: each notches the skin's edge on the flange, and stands there with two sides, a back and a top."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.loops import Side, faces_of
from shellgen.solid.brep.skin_face import MARGIN, Skin, SkinFace
from shellgen.solid.brep.skin_section import Meeting, Section
from shellgen.solid.brep.traced_skin import TracedSkin
from shellgen.solid.brep.web_plan import WebFrame, WebPlan, planned_web
from shellgen.solid.recipe import PieceRecipe, Prism, Role

AT_MM = 0.02  # the wall's edge ends so near to where a web's side was found to cross it


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A gusset that a solid has none of: its number among a piece's features, and the reason in words."""

    number: int
    says: str


def planned_webs(recipe: PieceRecipe, skin: TracedSkin) -> tuple[tuple[WebPlan, ...], tuple[LeftOut, ...]]:
    """The gussets of a piece on its traced outside, and those that cannot be built there."""
    plans, left_out = [], []
    for number, feature in enumerate(recipe.features):
        if feature.role is not Role.GUSSET or not isinstance(feature.shape, Prism):
            continue
        try:
            plans.append(planned_web(feature, skin))
        except KernelError as error:
            x, y, z = feature.shape.origin
            left_out.append(LeftOut(number, f"a gusset at ({x:.1f}, {y:.1f}, {z:.1f}): {error}"))
    return tuple(plans), tuple(left_out)


def with_stops(skin: TracedSkin, plans: tuple[WebPlan, ...]) -> TracedSkin:
    """A skin whose edges end where the sides of webs cross them."""
    curves = list(skin.curves)
    for plan in plans:
        index, *t = plan.cuts
        curves[index] = replace(curves[index], stops=(*curves[index].stops, *t))
    return replace(skin, curves=tuple(curves))


@dataclass(frozen=True, slots=True, eq=False)
class Webbed:
    """An outside with webs: its edges as the skin has them, as the flange's outer face has them, the webs' faces."""

    on_skin: Skin
    on_land: Skin
    faces: tuple[Any, ...]


def webbed(skin: Skin, plans: tuple[WebPlan, ...], land: Any, what: str) -> Webbed:
    """Stand webs on a laid skin. land : the surface of the flange's outer face, None where it is a plane.

    Raises KernelError where the skin's edge does not end at a web's sides.
    """
    on_skin, on_land = list(skin.faces), list(skin.faces)
    faces: list[Any] = []
    for plan in plans:
        for k, face in enumerate(on_skin):
            gone, feet = _notch(face, plan)
            if gone:
                break
        else:
            raise KernelError(f"{what}: a gusset finds no edge of the wall")
        built = _web(plan, feet, face.surface, land, what)
        kept = tuple(s for s in face.trims if all(s is not g for g in gone))
        on_skin[k] = replace(face, trims=(*kept, *built.wall))
        kept = tuple(s for s in on_land[k].trims if all(s is not g for g in gone))
        on_land[k] = replace(on_land[k], trims=(*kept, *built.rim))
        faces += built.faces
    return Webbed(replace(skin, faces=tuple(on_skin)), replace(skin, faces=tuple(on_land)), tuple(faces))


def _notch(face: SkinFace, plan: WebPlan) -> tuple[list[Side], list[Any]]:
    """The edges of a skin that a web covers, and their ends at its sides s = 0 and s = wall; none on another face."""
    from OCP.BRep import BRep_Tool
    from OCP.TopExp import TopExp

    frame = plan.frame
    gone, ends = [], []
    far = float(((plan.tips - frame.origin_mm) @ frame.out).max())
    for side in face.trims:
        first, last = TopExp.FirstVertex_s(side.edge), TopExp.LastVertex_s(side.edge)
        points = [np.array([p.X(), p.Y(), p.Z()]) for p in (BRep_Tool.Pnt_s(first), BRep_Tool.Pnt_s(last))]
        x, y = side.plan_mm[len(side.plan_mm) // 2]
        middle = np.array([x, y, 0.5 * (points[0][2] + points[1][2])])
        s, r = ((middle - frame.origin_mm) @ axis for axis in (frame.across, frame.out))
        if 0 < s < frame.wall_mm and frame.low_r_mm < r < far:
            gone.append(side)
            ends += [(points[0], first), (points[1], last)]
    if not gone:
        return [], []
    found = []
    for foot in plan.feet:
        near = min(ends, key=lambda e: float(np.linalg.norm(e[0] - foot)))
        if float(np.linalg.norm(near[0] - foot)) > AT_MM:
            return [], []
        found.append(near[1])
    return gone, found


@dataclass(frozen=True, slots=True, eq=False)
class _Built:
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
    item = occ.edge(occ.spline_curve(curve.knots, poles), *ends, low, high, tolerance)
    occ.lay_on(item, occ.spline_curve_2d(curve.knots, poles[:, :2]), surface, low, high, tolerance)
    return item


def _side(item: Any, along: bool, points: FloatArray, axes: FloatArray) -> Side:
    """A side from points in space (n, 3) along the edge, in the plan of axes (2, 3)."""
    plan = points @ axes.T
    return Side(item, along, plan if along else plan[::-1])


XY = np.eye(3)[:2]


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """An edge and points along it in space."""

    edge: Any
    points: FloatArray

    def side(self, along: bool, axes: FloatArray) -> Side:
        return _side(self.edge, along, self.points, axes)


def _meeting_line(meeting: Meeting, section: Section, ends: tuple[Any, Any], surface: Any) -> _Line:
    return _Line(_edge(meeting, section, ends, surface), section.space(meeting.curve.polygon()))


def _straight(first: Any, last: Any) -> _Line:
    from OCP.BRep import BRep_Tool

    points = np.array([[p.X(), p.Y(), p.Z()] for p in (BRep_Tool.Pnt_s(first), BRep_Tool.Pnt_s(last))])
    return _Line(occ.straight(first, last), points)


def _web(plan: WebPlan, feet: list[Any], surface: Any, land: Any, what: str) -> _Built:
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
        if abs(point[1]) < 1e-9 and len(plan.knees):
            k = int(np.argmin(np.abs(np.array(plan.knees) - point[0])))
            return knees[k]
        k = 0 if point[0] < 0.5 * wide else 1
        heads[k], level[k] = occ.vertex(section.space(point), occ.SPLINE_MM), on_top
        return heads[k]

    for name, section, meetings in (("top", top, plan.tops), ("back", back, plan.backs)):
        for m in meetings:
            ends = tuple(stop(m.curve.poles_mm[n], section, name == "top") for n in (0, -1))
            lines[name].append(_meeting_line(m, section, (ends[0], ends[1]), surface))
    corners = [occ.vertex(top.space(np.array([s, 0.0]))) if on else None for s, on in zip((0.0, wide), level, strict=True)]
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
    return _Built(faces, wall_sides, rim)


def _plane(at: FloatArray, x_axis: FloatArray, normal: FloatArray) -> Any:
    triples = [(float(v[0]), float(v[1]), float(v[2])) for v in (at, x_axis, normal)]
    return occ.plane(*triples)
