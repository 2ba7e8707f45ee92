"""The planes at which the plate and the skins of a piece meet: parting, slab top, base, top of the base flange."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.loops import Side, sampled
from shellgen.solid.brep.skin_face import Skin
from shellgen.solid.recipe import PieceRecipe

ON_MM = 1e-6
UNDER_MM = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Cap:
    """A plane of a piece: axis (0, 1, 2) and level where it stands, the two axes of its plan, the solid below or above.

    plan : (2, 3), first and second plan axis in space; their cross product is the normal of the plane as built, which
    points out of the solid if `outward`.
    """

    name: str
    axis: int
    level_mm: float
    plan: FloatArray
    outward: bool

    @property
    def surface(self) -> Any:
        """The plane, normal by the plan's axes."""
        at = [0.0, 0.0, 0.0]
        at[self.axis] = self.level_mm
        first, normal = self.plan[0], np.cross(self.plan[0], self.plan[1])
        return occ.plane((at[0], at[1], at[2]), _point(first), _point(normal))


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))


X, Y, Z = np.eye(3)


def caps_of(recipe: PieceRecipe) -> dict[str, Cap]:
    """The planes of a piece by name: "mating", "top", and on a board "base" and "step"."""
    out = {
        "mating": Cap("mating", 2, 0.0, np.array([X, Y]), False),
        "top": Cap("top", 2, recipe.outline.thickness_mm, np.array([X, Y]), True),
    }
    if recipe.on_board:
        out["base"] = Cap("base", 1, 0.0, np.array([X, Z]), True)
    if recipe.base is not None:
        out["step"] = Cap("step", 1, recipe.base.thickness_mm, np.array([Z, X]), True)
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
    normal, at = flat.Axis().Direction(), flat.Location()
    along = (normal.X(), normal.Y(), normal.Z())[cap.axis]
    return abs(abs(along) - 1) < 1e-9 and abs((at.X(), at.Y(), at.Z())[cap.axis] - cap.level_mm) < ON_MM


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


def opened(sides: dict[str, list[Side]], caps: dict[str, Cap], low: str, wall: str, skin: Skin, low_y: float) -> None:
    """Cut the edges that two planes share where a skin rises from the one along the other.

    low : the plane that trims the skin; wall : the plane y = low_y. Both lists of sides change in place.
    """
    shared = [(a, b) for a in sides[low] for b in sides[wall] if a.edge.IsSame(b.edge)]
    for a, b in shared:
        sides[low].remove(a)
        sides[wall].remove(b)
        for item in _parts(a, skin, low_y, caps[low].level_mm):
            sides[low].append(sampled(item, a.along, caps[low].plan))
            sides[wall].append(sampled(item, b.along, caps[wall].plan))


def _parts(side: Side, skin: Skin, low_y: float, level: float) -> list[Any]:
    """What is left of an edge along x outside the skin, run as the edge itself."""
    from OCP.BRep import BRep_Tool
    from OCP.TopExp import TopExp

    first, last = TopExp.FirstVertex_s(side.edge), TopExp.LastVertex_s(side.edge)
    xa, xb = BRep_Tool.Pnt_s(first).X(), BRep_Tool.Pnt_s(last).X()
    lo, hi = min(xa, xb), max(xa, xb)
    inner = [(x, v) for x, v in skin.ends if lo < x < hi]
    stops = [(xa, first), *(inner if xa < xb else inner[::-1]), (xb, last)]
    out = []
    for (x0, v0), (x1, v1) in pairwise(stops):
        middle = 0.5 * (x0 + x1)
        if float(skin.graph.at(np.array([middle]), np.array([low_y]))[0]) > level and inner:
            continue
        out.append(side.edge if not inner else occ.straight(v0, v1))
    return out


def stood_up(side: Side, skin: Skin, cap: Cap) -> Side:
    """A side of a skin along y = low_y, with its points in the upright plane that meets it there."""
    x, y = side.plan_mm.T
    space = np.column_stack([x, y, skin.graph.at(x, y)])
    return Side(side.edge, side.along, space @ cap.plan.T)


def clear_of(sides: list[Side], skin: Skin, trim: Graph, name: str, low_y: float | None, what: str) -> None:
    """Raise KernelError if a hole or another edge of the face that trims a skin lies where the skin takes it away."""
    for side in sides:
        x, y = side.plan_mm.T
        over = skin.graph.at(x, y) - trim.at(x, y)
        if low_y is not None:
            over = np.where(y > low_y + ON_MM, over, -1.0)
        k = int(np.argmax(over))
        if float(over[k]) > UNDER_MM and _within_box(skin, x[k], y[k]):
            raise KernelError(
                f"{what}: an edge of its {name} face at ({x[k]:.1f}, {y[k]:.1f}) lies {over[k]:.2f} mm within the wall"
            )


def _within_box(skin: Skin, x: float, y: float) -> bool:
    x0, y0, x1, y1 = skin.graph.box_mm
    return x0 < x < x1 and y0 < y < y1
