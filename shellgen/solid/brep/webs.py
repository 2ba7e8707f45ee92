"""Gussets as faces: each notches the skin's edge on the flange, and stands there with two sides, a back and a top."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from shellgen.errors import KernelError
from shellgen.solid.brep.loops import Side
from shellgen.solid.brep.skin_face import Skin, SkinFace
from shellgen.solid.brep.traced_skin import TracedSkin
from shellgen.solid.brep.web_faces import web_faces
from shellgen.solid.brep.web_plan import WebPlan, planned_web
from shellgen.solid.recipe import PieceRecipe, Prism, Role

AT_MM = 0.02  # the wall's edge ends so near to where a web's side was found to cross it


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A gusset that a solid has none of: its number among a piece's features, and the reason in words."""

    number: int
    says: str


def planned_webs(
    recipe: PieceRecipe, skin: TracedSkin, barred: tuple[int, ...]
) -> tuple[tuple[WebPlan, ...], tuple[LeftOut, ...]]:
    """The gussets of a piece on its traced outside, and those that cannot be built there.

    barred : numbers of features with which no valid solid came out.
    """
    plans, left_out = [], []
    for number, feature in enumerate(recipe.features):
        if feature.role is not Role.GUSSET or not isinstance(feature.shape, Prism):
            continue
        try:
            if number in barred:
                raise KernelError("with it the solid is not valid")
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
        notches = [_notch(face, plan) for face in on_skin]
        k = next((n for n, (gone, _) in enumerate(notches) if gone), None)
        if k is None:
            raise KernelError(f"{what}: a gusset finds no edge of the wall")
        face, (gone, feet) = on_skin[k], notches[k]
        built = web_faces(plan, feet, face.surface, land, what)
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
