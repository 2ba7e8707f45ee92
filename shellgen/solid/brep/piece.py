"""The B-rep kernel: a piece's recipe as one solid of true faces, built directly and never cut on a spline.

The plate is made by ordinary booleans; its faces on the planes where skins meet it are rebuilt with the skins' trimming
curves; the two skins, one spline each, close the solid.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from shellgen.envelope.spline_fit import FitReport
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.engraved import engraved
from shellgen.solid.brep.failing import in_words
from shellgen.solid.brep.fitted_piece import Fitted, fitted_piece
from shellgen.solid.brep.flat_stand import flat_stand
from shellgen.solid.brep.lift import Ground, Lift
from shellgen.solid.brep.loops import faces_of
from shellgen.solid.brep.planes_faces import planes_faces
from shellgen.solid.brep.planes_graph import PlanesGraph
from shellgen.solid.brep.planes_plate import planes_body
from shellgen.solid.brep.plate import LEFT_OUT, plate_body
from shellgen.solid.brep.plate_faces import joined_faces, lifted_faces
from shellgen.solid.brep.port import PortPlan, must_stand_apart, port_faces, port_plans, stands_wholly
from shellgen.solid.brep.port_after import with_ports
from shellgen.solid.brep.skin_face import Skin, laid
from shellgen.solid.brep.skin_parts import skin_parts
from shellgen.solid.brep.traced_skin import traced_skin
from shellgen.solid.brep.webs import LeftOut, planned_webs, webbed, with_stops
from shellgen.solid.recipe import PieceRecipe, Role

SHIFTS_MM = (0.0, 0.01, -0.01)  # of both skins, tried where OCC finds fault with the solid
MOST_SPANS = (200, 100, 60, 30)  # of one trimming edge; shorter ones where OCC misjudges a wire


@dataclass(frozen=True, slots=True)
class PieceFit:
    """How well the skins of a piece were fitted, and the greatest gap between a skin and its trimming edge [mm].

    left_out : gussets that the solid has none of. engraved : whether its labels were cut.
    """

    inside: FitReport
    outside: FitReport
    trim_mm: float
    left_out: tuple[LeftOut, ...] = ()
    engraved: bool = False


@in_words()
def piece_brep(recipe: PieceRecipe, tolerance_mm: float = 0.15, fitted: Fitted | None = None) -> tuple[Any, PieceFit]:
    """A piece as an OCC solid in its pull frame, labels left out where they cost too many faces, and how well it fits.

    fitted : its fits, if they were made already. A gusset with which no valid solid comes out is left out. Raises
    KernelError, naming place and size, where no valid solid can be built.
    """
    known = fitted or fitted_piece(recipe, tolerance_mm)
    webs = [n for n, f in enumerate(recipe.features) if f.role is Role.GUSSET]
    if not webs:
        return _sound(recipe, known, ())
    try:
        return _sound(recipe, known, ())
    except KernelError:
        best = _sound(recipe, known, tuple(webs))  # what is wrong without any is not the webs' fault
    barred = list(webs)
    for number in webs:
        fewer = tuple(n for n in barred if n != number)
        try:
            best, barred = _sound(recipe, known, fewer), list(fewer)
        except KernelError:
            continue
    return best


def _sound(recipe: PieceRecipe, known: Fitted, barred: tuple[int, ...]) -> tuple[Any, PieceFit]:
    """A fitted piece as a valid solid without the features barred. Raises KernelError where there is none."""
    what = f"shell piece {recipe.name}"
    fault: str | None = None
    for shift in SHIFTS_MM:
        skins = known.skins if shift == 0 else (known.skins[0].lifted(shift), known.skins[1].lifted(shift))
        solid, fit, fault = _built(recipe, replace(known, skins=skins), barred, what)
        if fault is None:
            return solid, fit
    raise KernelError(
        f"{what}: {fault}. More jacket.draft_deg or a larger outputs.step_tolerance_mm makes skins easier to follow."
    )


def _built(recipe: PieceRecipe, known: Fitted, barred: tuple[int, ...], what: str) -> tuple[Any, PieceFit, str | None]:
    """A fitted piece as a solid, how well it was fitted, and what is wrong with the solid, None if nothing."""
    land, trims = known.land, known.trims
    inside = traced_skin(known.skins[0], f"{what}, inside")
    outside = traced_skin(known.skins[1], f"{what}, outside")
    ports, features = port_plans(recipe)
    must_stand_apart(ports, what)
    plain = tuple(f for f in features if f.role not in (*LEFT_OUT, Role.GUSSET))
    stand = None if land is None else flat_stand(recipe, plain)
    low, high = trims
    if isinstance(low, PlanesGraph):
        body = planes_body(recipe, plain)
    else:
        body = plate_body(recipe, plain) if stand is None else plate_body(stand.recipe, stand.features)
    labelled = engraved(body, recipe, what)
    body = body if labelled is None else labelled
    grounds = (None, None) if land is None else (occ.spline_surface(land.mating), occ.spline_surface(land.top))
    webs, left_out = planned_webs(recipe, outside, barred)
    outside = with_stops(outside, webs)
    parts = skin_parts(inside), skin_parts(outside)
    surfaces = [tuple(occ.spline_surface(p.graph) for p in whole) for whole in parts]
    gap = max(inside.trim_mm, outside.trim_mm)
    fit = PieceFit(inside.report, outside.report, gap, left_out, labelled is not None)
    fault: str | None = None
    for most_spans in MOST_SPANS:
        inner = laid(inside, parts[0], surfaces[0], most_spans, grounds[0])
        outer = webbed(laid(outside, parts[1], surfaces[1], most_spans, grounds[1]), webs, grounds[1], what)
        if isinstance(low, PlanesGraph) and isinstance(high, PlanesGraph):
            faces = planes_faces(recipe, body, inner, outer.on_land, (low, high), what)
        elif land is None or stand is None:
            faces = joined_faces(recipe, body, inner, outer.on_land, trims, what)
        else:
            lift = Lift(
                Ground(land.mating, grounds[0], 0.0),
                Ground(land.top, grounds[1], stand.recipe.outline.thickness_mm),
                stand.level,
                what,
                most_spans,
            )
            faces = lifted_faces(stand.recipe, body, lift, inner, outer.on_land)
        faces += outer.faces
        whole = tuple(p for p in ports if stands_wholly(p, outer.on_skin, inner))
        solid = occ.solid_of(faces + skin_faces(inner, outer.on_skin, whole, what))
        fault = fault_of(solid)
        others = tuple(p for p in ports if p not in whole)
        if fault is None and others:
            solid = with_ports(solid, others, recipe, inside.graph, trims[0], what)
            fault = fault_of(solid)
        if fault is None:
            break
    return solid, fit, fault


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


def fault_of(solid: Any) -> str | None:
    """What OCC's own check finds wrong with a solid, None if nothing."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRep import BRep_Tool
    from OCP.BRepBndLib import BRepBndLib
    from OCP.BRepCheck import BRepCheck_Analyzer

    if BRepCheck_Analyzer(solid, True, True).IsValid():  # geometry too, on all cores
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
