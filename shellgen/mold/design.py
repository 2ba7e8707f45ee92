"""From job and pattern to the recipe of every piece: the one place where a mold's parts are decided, in order."""

from __future__ import annotations

from shellgen.envelope.facets import Facets
from shellgen.errors import DesignError
from shellgen.job.model import PlaneSettings, Settings
from shellgen.mold.as_built import bare_facets, rank_as_built
from shellgen.mold.auto_pitch import with_pitch
from shellgen.mold.base import Foot
from shellgen.mold.board import base_lid, board_bolts, feet_of
from shellgen.mold.bridges import as_facets, bars
from shellgen.mold.drape import spec_of
from shellgen.mold.gussets import gusset_note
from shellgen.mold.half import half_recipe
from shellgen.mold.halves import Halves, lay_halves
from shellgen.mold.mold import MoldDesign
from shellgen.mold.port import bore_mm, design_port
from shellgen.mold.radial import Radial, lay_radial
from shellgen.mold.skins import joined
from shellgen.mold.vents import vented
from shellgen.mold.wedge import wedge_recipe
from shellgen.parting.cells import Cell, halves, radial_cells, require_shares, wanted_plane
from shellgen.parting.job_planes import crossed_places
from shellgen.parting.reasons import best_says
from shellgen.pattern.pattern import Pattern
from shellgen.solid.cell_cut import lowest_mm
from shellgen.solid.recipe import PlateRecipe


def design(settings: Settings, pattern: Pattern) -> MoldDesign:
    """The whole mold as recipes. `settings` must have every default filled in."""
    on_board = pattern.mount != "none"
    cells, notes = wanted_cells(settings, pattern, on_board)
    least_mm = min(spec_of(settings, c.name).thickness_mm for c in cells) + settings.jacket.crevice_mm
    bare = bare_facets(settings, pattern, least_mm)
    if len(cells) == 2:
        ends = bars(bare, spec_of(settings, "A"), cells[0].pull_to_mold, on_board)
        if len(ends):
            bare = joined(bare, as_facets(ends))
            notes = (*notes, f"Bodies stand apart: {len(ends)} bars of rubber in the parting hold the jacket together.")
    settings, remarks = with_pitch(settings, pattern, lambda given: lay(given, bare, cells, on_board))
    laid = lay(settings, bare, cells, on_board)
    draped, names = laid.draped, tuple(c.name for c in cells)
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    feet: tuple[Foot, ...] = feet_of(settings, draped, laid.tops) if on_board else ()
    port = None
    if not on_board and draped[0].port is not None:
        port = design_port(
            draped[0].port,
            draped[0].skins,
            piece=names[0],
            bore=bore_mm(draped[0].port, settings) / 2,
            lid_mm=float(settings.port.lid_thickness_mm or flange_mm),
            lid=settings.port.lid,
            pull_to_mold=cells[0].pull_to_mold,
            fit=settings.bolts.fit,
            wall_mm=draped[0].spec.outside_mm - draped[0].spec.inside_mm,
            low_mm=lowest_mm(draped[0].cell.parting),
        )
    stands = feet or (None,) * len(cells)
    pieces = tuple(
        wedge_recipe(k, settings, laid, stand, port if k == 0 else None)
        if isinstance(laid, Radial)
        else half_recipe(k, settings, laid, stand, port if k == 0 else None)
        for k, stand in enumerate(stands)
    )
    if settings.flange.gussets:
        notes = (*notes, gusset_note(pieces, laid.gaps, settings.outputs.step))
        if isinstance(laid, Radial):
            notes = (*notes, "Gussets are made on two halves; radial pieces have none, and none are reckoned with.")
    pour = None
    if settings.jacket.method == "pour":
        pieces, pour, said = vented(pieces, pattern, port, settings.jacket.thickness_mm)
        notes = (*notes, *said)
    plates: list[PlateRecipe] = []
    bolts = list(laid.bolts)
    if feet:
        bolts += board_bolts(settings, draped, feet)
        if settings.port.lid:
            lid, lid_bolts = base_lid(settings, draped, feet)
            plates.append(lid)
            bolts += lid_bolts
    if port is not None:
        bolts += port.bolts
        if port.lid is not None:
            plates.append(port.lid)
    return MoldDesign(
        settings=settings,
        pattern=pattern,
        pieces=pieces,
        plates=tuple(plates),
        bolts=tuple(bolts),
        keys=laid.keys,
        jacket_keys=tuple(k for d in draped for k in d.keys),
        assembly=(*names, *(p.name for p in plates)),
        notes=(*notes, *remarks, *laid.notes),
        pour=pour,
        keys_mm3=sum(d.keys_mm3 for d in draped),
    )


def wanted_cells(settings: Settings, pattern: Pattern, on_board: bool) -> tuple[tuple[Cell, ...], tuple[str, ...]]:
    """The cells of the parting asked; "best" is the first of the ranked planes, told in a note."""
    if settings.parting.kind == "radial":
        cells = radial_cells(settings.parting, pattern.bounds_mm)
        require_shares(cells, pattern.vertices_mm)
        return cells, ()
    if settings.parting.plane != "best":
        return halves(settings.parting, pattern.bounds_mm, on_board), crossing_notes(settings, pattern)
    ranking = rank_as_built(settings, pattern)
    best, middle = ranking.planes[0], ranking.middle
    plane = PlaneSettings(normal=best.normal, angle_deg=None, offset_mm=best.offset_mm)
    note = best_says(best, middle, settings.parting.follow == "silhouette")
    chosen = settings.parting.model_copy(update={"plane": plane})
    taken = settings.model_copy(update={"parting": chosen})
    return halves(chosen, pattern.bounds_mm, on_board), (note, *crossing_notes(taken, pattern))


def crossing_notes(settings: Settings, pattern: Pattern) -> tuple[str, ...]:
    """A sentence for each place of `parting.keep_clear` that the seam on the job's plane crosses."""
    if not settings.parting.keep_clear:
        return ()
    plane = wanted_plane(settings.parting, pattern.bounds_mm, pattern.mount != "none")
    return tuple(
        f"The seam runs through parting.keep_clear[{number}]: the parting plane crosses the pattern's surface there."
        for number in crossed_places(settings, pattern, *plane)
    )


def lay(settings: Settings, bare: Facets, cells: tuple[Cell, ...], on_board: bool) -> Halves | Radial:
    """Drape all cells and lay their mating faces, for the kind of parting asked."""
    if settings.parting.kind == "radial":
        return lay_radial(settings, bare, cells, on_board)
    return lay_halves(settings, bare, (cells[0], cells[1]), on_board)


def check_kind(settings: Settings) -> None:
    """Raise DesignError for partings that this design does not lay out."""
    if settings.parting.kind == "planes":
        raise DesignError(
            'parting.kind = "planes": a list of planes cannot be built yet. Give kind = "plane", or "radial" with '
            "pieces = 3 to 6."
        )
