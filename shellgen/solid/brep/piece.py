"""The B-rep kernel: a piece's recipe as one solid of true faces, built directly and never cut on a spline.

The plate is made by ordinary booleans; its faces on the planes where skins meet it are rebuilt with the skins' trimming
curves; the two skins, one spline each, close the solid.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from shellgen.envelope.spline_fit import FitReport
from shellgen.errors import KernelError
from shellgen.parting.surface import SteppedParting
from shellgen.solid.brep import occ
from shellgen.solid.brep.caps import caps_of, clear_of, opened, sorted_faces, stood_up
from shellgen.solid.brep.flat_stand import flat_stand
from shellgen.solid.brep.graph import Graph, PlaneGraph
from shellgen.solid.brep.land import Land, stepped_land
from shellgen.solid.brep.lift import Ground, Lift
from shellgen.solid.brep.loops import faces_of
from shellgen.solid.brep.plate import LEFT_OUT, plate_body
from shellgen.solid.brep.port import PortPlan, must_stand_apart, port_faces, port_plans
from shellgen.solid.brep.skin_face import Skin, laid
from shellgen.solid.brep.skin_parts import skin_parts
from shellgen.solid.brep.traced_skin import fitted_pair, traced_skin
from shellgen.solid.recipe import PieceRecipe

MOST_SPANS = (100, 60, 30)  # of one trimming edge; shorter ones where OCC misjudges a wire


@dataclass(frozen=True, slots=True)
class PieceFit:
    """How well the skins of a piece were fitted, and the greatest gap between a skin and its trimming edge [mm]."""

    inside: FitReport
    outside: FitReport
    trim_mm: float


def piece_brep(recipe: PieceRecipe, tolerance_mm: float = 0.15) -> tuple[Any, PieceFit]:
    """A piece as an OCC solid in its pull frame, labels left out, and how well it was fitted.

    Raises KernelError, naming place and size, where no valid solid can be built.
    """
    what = f"shell piece {recipe.name}"
    land = None if recipe.parting.flat else _land(recipe, tolerance_mm, what)
    trims: tuple[Graph, Graph] = (PlaneGraph(0.0), PlaneGraph(recipe.outline.thickness_mm))
    if land is not None:
        trims = (land.mating, land.top)
    inside_y = 0.0 if recipe.on_board else None
    outside_y = recipe.base.thickness_mm if recipe.base is not None else inside_y
    fitted = fitted_pair((recipe.inside, recipe.outside), trims, (inside_y, outside_y), tolerance_mm)
    inside = traced_skin(fitted[0], f"{what}, inside")
    outside = traced_skin(fitted[1], f"{what}, outside")
    ports, features = port_plans(recipe)
    must_stand_apart(ports, what)
    plain = tuple(f for f in features if f.role not in LEFT_OUT)
    stand = None if land is None else flat_stand(recipe, plain)
    body = plate_body(recipe, plain) if stand is None else plate_body(stand.recipe, stand.features)
    grounds = (None, None) if land is None else (occ.spline_surface(land.mating), occ.spline_surface(land.top))
    parts = skin_parts(inside), skin_parts(outside)
    surfaces = [tuple(occ.spline_surface(p.graph) for p in whole) for whole in parts]
    fit = PieceFit(inside.report, outside.report, max(inside.trim_mm, outside.trim_mm))
    fault: str | None = None
    for most_spans in MOST_SPANS:
        inner = laid(inside, parts[0], surfaces[0], most_spans, grounds[0])
        outer = laid(outside, parts[1], surfaces[1], most_spans, grounds[1])
        if land is None or stand is None:
            faces = joined_faces(recipe, body, inner, outer, what)
        else:
            lift = Lift(
                Ground(land.mating, grounds[0], 0.0),
                Ground(land.top, grounds[1], stand.recipe.outline.thickness_mm),
                stand.level,
                what,
            )
            faces = lifted_faces(stand.recipe, body, lift, inner, outer)
        solid = occ.solid_of(faces + skin_faces(inner, outer, ports, what))
        fault = fault_of(solid)
        if fault is None:
            return solid, fit
    raise KernelError(
        f"{what}: {fault}. More jacket.draft_deg or a larger outputs.step_tolerance_mm makes skins easier to follow."
    )


def _land(recipe: PieceRecipe, tolerance_mm: float, what: str) -> Land:
    """The faces of a stepped flange. Raises KernelError for partings and stands that are not built."""
    if not isinstance(recipe.parting, SteppedParting):
        raise KernelError(f"{what}: STEP is written for flat and stepped partings only")
    if recipe.on_board:
        raise KernelError(f"{what}: a stepped parting that stands on a board is not written as STEP")
    return stepped_land(recipe, tolerance_mm)


def skin_faces(inside: Skin, outside: Skin, ports: tuple[PortPlan, ...], what: str) -> list[Any]:
    """The faces of both skins, with their ports."""
    built = [port_faces(port, outside, inside, what) for port in ports]
    faces = [f for b in built for f in b.faces]
    for skin, outward in ((inside, False), (outside, True)):
        for face in skin.faces:
            sides = [*face.trims, *face.isos]
            sides += [side for b in built for owner, side in (b.inner, b.outer) if owner is face]
            faces += faces_of(sides, face.surface, outward, what)
    return faces


def joined_faces(recipe: PieceRecipe, body: Any, inside: Skin, outside: Skin, what: str) -> list[Any]:
    """All faces of a piece but its skins and its port."""
    caps = caps_of(recipe)
    kept, sides = sorted_faces(body, caps)
    wall = "step" if recipe.base is not None else "base"
    if recipe.on_board:
        opened(sides, caps, "mating", "base", inside, 0.0)
        opened(sides, caps, "top", wall, outside, caps[wall].level_mm)
    clear_of(sides["mating"], inside, PlaneGraph(0.0), "mating", 0.0 if recipe.on_board else None, what)
    top = PlaneGraph(recipe.outline.thickness_mm)
    clear_of(sides["top"], outside, top, "top", caps[wall].level_mm if recipe.on_board else None, what)
    sides["mating"] += [s.turned() for s in inside.trims]
    sides["top"] += [s.turned() for s in outside.trims]
    if recipe.on_board:
        # seen from outside, the wall lies above the inner skin's line, and below the outer one's or behind the step
        sides["base"] += [stood_up(s, inside, caps["base"]) for s in inside.isos]
        sides[wall] += [stood_up(s, outside, caps[wall]).turned() for s in outside.isos]
    return kept + [f for name, cap in caps.items() for f in faces_of(sides[name], cap.surface, cap.outward, what)]


def lifted_faces(flat: PieceRecipe, body: Any, lift: Lift, inside: Skin, outside: Skin) -> list[Any]:
    """All faces of a stepped piece but its skins and its port; flat, body : its plate laid flat."""
    kept, sides = sorted_faces(body, caps_of(flat))
    faces = lift.faces(kept)
    for ground, name, skin, outward in ((lift.low, "mating", inside, False), (lift.high, "top", outside, True)):
        own = lift.sides(sides[name], ground)
        clear_of(own, skin, ground.graph, name, None, lift.what)
        faces += faces_of(own + [s.turned() for s in skin.trims], ground.surface, outward, lift.what)
    return faces


def fault_of(solid: Any) -> str | None:
    """What OCC's own check finds wrong with a solid, None if nothing."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRep import BRep_Tool
    from OCP.BRepBndLib import BRepBndLib
    from OCP.BRepCheck import BRepCheck_Analyzer

    if BRepCheck_Analyzer(solid).IsValid():
        return None
    for item in occ.explored(solid, "face"):
        if not BRepCheck_Analyzer(item).IsValid():
            box = Bnd_Box()
            BRepBndLib.Add_s(item, box)
            low, high = box.CornerMin(), box.CornerMax()
            kind = BRep_Tool.Surface_s(item).DynamicType().Name().removeprefix("Geom_")
            return (
                f"a face of its STEP solid is not valid ({kind} between ({low.X():.1f}, {low.Y():.1f}, {low.Z():.1f}) "
                f"and ({high.X():.1f}, {high.Y():.1f}, {high.Z():.1f}))"
            )
    return "its STEP solid is not valid"
