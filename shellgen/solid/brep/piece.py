"""The B-rep kernel: a piece's recipe as one solid of true faces, built directly and never cut on a spline.

The plate is made by ordinary booleans; its faces on the planes where skins meet it are rebuilt with the skins' trimming
curves; the two skins, one spline each, close the solid.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from shellgen.envelope.spline_fit import FitReport
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.caps import caps_of, clear_of, opened, sorted_faces, stood_up
from shellgen.solid.brep.graph import PlaneGraph
from shellgen.solid.brep.loops import faces_of
from shellgen.solid.brep.plate import LEFT_OUT, plate_body
from shellgen.solid.brep.port import PortPlan, must_stand_apart, port_faces, port_plans
from shellgen.solid.brep.skin_face import Skin, laid
from shellgen.solid.brep.skin_parts import skin_parts
from shellgen.solid.brep.traced_skin import evened, fitted_skin, traced_skin
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
    if not recipe.parting.flat:
        raise KernelError(f"{what}: STEP is written for flat partings only")
    inside_y = 0.0 if recipe.on_board else None
    outside_y = recipe.base.thickness_mm if recipe.base is not None else inside_y
    top = recipe.outline.thickness_mm
    with ThreadPoolExecutor(2) as pool:
        inner_fit = pool.submit(fitted_skin, recipe.inside, 0.0, inside_y, tolerance_mm)
        outer_fit = pool.submit(fitted_skin, recipe.outside, top, outside_y, tolerance_mm)
        fitted = evened(inner_fit.result(), outer_fit.result(), (recipe.inside, recipe.outside))
    inside = traced_skin(fitted[0], PlaneGraph(0.0), f"{what}, inside")
    outside = traced_skin(fitted[1], PlaneGraph(top), f"{what}, outside")
    ports, features = port_plans(recipe)
    must_stand_apart(ports, what)
    body = plate_body(recipe, tuple(f for f in features if f.role not in LEFT_OUT))
    parts = skin_parts(inside), skin_parts(outside)
    surfaces = [tuple(occ.spline_surface(p.graph) for p in whole) for whole in parts]
    fit = PieceFit(inside.report, outside.report, max(inside.trim_mm, outside.trim_mm))
    fault: str | None = None
    for most_spans in MOST_SPANS:
        inner = laid(inside, parts[0], surfaces[0], most_spans)
        outer = laid(outside, parts[1], surfaces[1], most_spans)
        solid = occ.solid_of(all_faces(recipe, body, inner, outer, ports, what))
        fault = fault_of(solid)
        if fault is None:
            return solid, fit
    raise KernelError(
        f"{what}: {fault}. More jacket.draft_deg or a larger outputs.step_tolerance_mm makes skins easier to follow."
    )


def all_faces(
    recipe: PieceRecipe, body: Any, inside: Skin, outside: Skin, ports: tuple[PortPlan, ...], what: str
) -> list[Any]:
    """Every face of a piece."""
    faces = joined_faces(recipe, body, inside, outside, what)
    built = [port_faces(port, outside, inside, what) for port in ports]
    faces += [f for b in built for f in b.faces]
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
    clear_of(sides["mating"], inside, caps["mating"], 0.0 if recipe.on_board else None, what)
    clear_of(sides["top"], outside, caps["top"], caps[wall].level_mm if recipe.on_board else None, what)
    sides["mating"] += [s.turned() for s in inside.trims]
    sides["top"] += [s.turned() for s in outside.trims]
    if recipe.on_board:
        # seen from outside, the wall lies above the inner skin's line, and below the outer one's or behind the step
        sides["base"] += [stood_up(s, inside, caps["base"]) for s in inside.isos]
        sides[wall] += [stood_up(s, outside, caps[wall]).turned() for s in outside.isos]
    return kept + [f for name, cap in caps.items() for f in faces_of(sides[name], cap.surface, cap.outward, what)]


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
