"""The planes at which the plate and the skins of a piece meet: parting, slab top, base, top of the base flange."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.loops import Side, sampled
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.skin_face import Skin
from shellgen.solid.recipe import PieceRecipe

ON_MM = 1e-6
UNDER_MM = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Cap:
    """A plane of a piece: a point on it, its normal, the two axes of its plan, the solid below or above.

    plan : (2, 3), first and second plan axis in space; the normal as built leans towards their cross product, and
    points out of the solid if `outward`.
    """

    name: str
    at_mm: FloatArray
    normal: FloatArray
    plan: FloatArray
    outward: bool

    @property
    def surface(self) -> Any:
        """The plane, normal by the plan's axes."""
        first = self.plan[0] - (self.plan[0] @ self.normal) * self.normal
        return occ.plane(_point(self.at_mm), _point(first / np.linalg.norm(first)), _point(self.normal))


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))


X, Y, Z = np.eye(3)


def caps_of(recipe: PieceRecipe) -> dict[str, Cap]:
    """The planes of a piece by name: "mating", "top", and on a board "base" and "step"."""
    thick = recipe.outline.thickness_mm
    return {
        "mating": Cap("mating", 0 * Z, Z, np.array([X, Y]), False),
        "top": Cap("top", thick * Z, Z, np.array([X, Y]), True),
        **board_caps(recipe),
    }


def board_caps(recipe: PieceRecipe) -> dict[str, Cap]:
    """The planes that a piece has at its board."""
    out = {}
    if recipe.on_board:
        out["base"] = Cap("base", 0 * Y, -Y, np.array([X, Z]), True)
    if recipe.base is not None:
        out["step"] = Cap("step", recipe.base.thickness_mm * Y, Y, np.array([Z, X]), True)
    return out


def sorted_faces(body: Any, caps: dict[str, Cap]) -> tuple[list[Any], dict[str, list[Side]]]:
    """The faces of a plate that stay as they are, and the sides that bound the others, by the plane they lie in."""
    kept: list[Any] = []
    sides: dict[str, list[Side]] = {name: [] for name in caps}
    for item in occ.explored(body, "face"):
        cap = next((c for c in caps.values() if _lies_in(item, c)), None)
        if cap is None:
            kept.append(item)
        else:
            sides[cap.name] += _sides(item, cap)
    return kept, {name: _single(found) for name, found in sides.items()}


def _lies_in(item: Any, cap: Cap) -> bool:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane

    surface = BRepAdaptor_Surface(item)
    if surface.GetType() != GeomAbs_Plane:
        return False
    flat = surface.Plane()
    direction, location = flat.Axis().Direction(), flat.Location()
    normal = np.array([direction.X(), direction.Y(), direction.Z()])
    at = np.array([location.X(), location.Y(), location.Z()])
    along = abs(float(normal @ cap.normal))
    return along > 1 - 1e-9 and abs(float((at - cap.at_mm) @ cap.normal)) < ON_MM


def _sides(item: Any, cap: Cap) -> list[Side]:
    """Sides round a face of a plate, its region on their left in the cap's plan."""
    from OCP.BRepTools import BRepTools_WireExplorer
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopoDS import TopoDS

    forward = item.Oriented(TopAbs_FORWARD)
    found, area = [], 0.0
    for wire in occ.explored(forward, "wire"):
        walk = BRepTools_WireExplorer(wire)
        while walk.More():
            edge = walk.Current()
            bare = TopoDS.Edge_s(edge.Oriented(TopAbs_FORWARD))
            side = sampled(bare, edge.Orientation() == TopAbs_FORWARD, cap.plan)
            found.append(side)
            p = side.plan_mm
            area += float(0.5 * np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1]))
            walk.Next()
    return found if area > 0 else [s.turned() for s in found]


def _single(sides: list[Side]) -> list[Side]:
    """The sides without edges that have the plane on both of theirs."""
    out: list[Side] = []
    for side in sides:
        twin = next((s for s in out if s.edge.IsSame(side.edge)), None)
        if twin is None:
            out.append(side)
        else:
            out.remove(twin)
    return out


def opened(
    sides: dict[str, list[Side]],
    caps: dict[str, Cap],
    pair: tuple[str, str],
    ends: list[tuple[float, Any]],
    along: FloatArray,
    covered: Callable[[float], bool],
) -> None:
    """Cut the edges that two planes share where a skin rises from them. Both lists of sides change in place.

    ends : places along the edge, and vertices, where the skin begins and ends; along : the edge's direction; covered :
    whether the skin stands on a place.
    """
    first, second = pair
    shared = [(a, b) for a in sides[first] for b in sides[second] if a.edge.IsSame(b.edge)]
    for a, b in shared:
        sides[first].remove(a)
        sides[second].remove(b)
        for item in _left(a.edge, ends, along, covered):
            sides[first].append(sampled(item, a.along, caps[first].plan))
            sides[second].append(sampled(item, b.along, caps[second].plan))


def _left(edge: Any, ends: list[tuple[float, Any]], along: FloatArray, covered: Callable[[float], bool]) -> list[Any]:
    """What is left of a straight edge outside a skin, run as the edge itself."""
    from OCP.BRep import BRep_Tool
    from OCP.TopExp import TopExp

    first, last = TopExp.FirstVertex_s(edge), TopExp.LastVertex_s(edge)
    points = (BRep_Tool.Pnt_s(v) for v in (first, last))
    t0, t1 = (float(along @ np.array([p.X(), p.Y(), p.Z()])) for p in points)
    inner = [(t, v) for t, v in ends if min(t0, t1) < t < max(t0, t1)]
    stops = [(t0, first), *(inner if t0 < t1 else inner[::-1]), (t1, last)]
    out = []
    for (a, v0), (b, v1) in pairwise(stops):
        if covered(0.5 * (a + b)):
            continue
        out.append(edge if not inner else occ.straight(v0, v1))
    return out


def stood_up(side: Side, skin: Skin, cap: Cap) -> Side:
    """A side of a skin along y = low_y, with its points in the upright plane that meets it there."""
    x, y = side.plan_mm.T
    space = np.column_stack([x, y, skin.graph.at(x, y)])
    return Side(side.edge, side.along, space @ cap.plan.T)


def clear_of(sides: list[Side], skin: Skin, trim: Graph, name: str, edges: tuple[Line, ...], what: str) -> None:
    """Raise KernelError if a hole or another edge of the face that trims a skin lies where the skin takes it away.

    edges : lines that end the skin's plan.
    """
    for side in sides:
        x, y = side.plan_mm.T
        over = skin.graph.at(x, y) - trim.at(x, y)
        for line in edges:
            over = np.where(line.over(x, y) > ON_MM, over, -1.0)
        k = int(np.argmax(over))
        if float(over[k]) > UNDER_MM and within_box(skin, x[k], y[k]):
            raise KernelError(
                f"{what}: an edge of its {name} face at ({x[k]:.1f}, {y[k]:.1f}) lies {over[k]:.2f} mm within the wall"
            )


def covers(skin: Skin, trim: Graph, place: Callable[[float], tuple[float, float]]) -> Callable[[float], bool]:
    """Whether a skin lies well over its trim at places along a line."""

    def over(t: float) -> bool:
        x, y = (np.array([v]) for v in place(t))
        return float((skin.graph.at(x, y) - trim.at(x, y))[0]) > UNDER_MM and within_box(skin, float(x[0]), float(y[0]))

    return over


def within_box(skin: Skin, x: float, y: float) -> bool:
    """Whether a place lies in a skin's rectangle."""
    x0, y0, x1, y1 = skin.graph.box_mm
    return x0 < x < x1 and y0 < y < y1
