"""From job and pattern to the recipe of every piece: the one place where a mold's parts are decided, in order."""

from __future__ import annotations

from shellgen.envelope.facets import Facets
from shellgen.job.model import PlaneSettings, Settings
from shellgen.mold.as_built import bare_facets, rank_as_built
from shellgen.mold.auto_pitch import with_pitch
from shellgen.mold.base import Foot
from shellgen.mold.between import between_recipe
from shellgen.mold.board import base_lid, board_bolts, feet_of
from shellgen.mold.bridges import as_facets, bars
from shellgen.mold.drape import spec_of
from shellgen.mold.faces import Assembled, lay_planes
from shellgen.mold.feet import without_bars_over
from shellgen.mold.gussets import gusset_note
from shellgen.mold.half import half_recipe
from shellgen.mold.halves import Halves, lay_halves
from shellgen.mold.mold import MoldDesign
from shellgen.mold.more_pieces import two_halves_note
from shellgen.mold.port import Port, bore_mm, design_port
from shellgen.mold.radial import Radial, lay_radial
from shellgen.mold.skins import joined
from shellgen.mold.vents import vented
from shellgen.mold.wedge import wedge_recipe
from shellgen.parting.cells import Cell, halves, radial_cells, require_shares, wanted_plane
from shellgen.parting.job_planes import crossed_places
from shellgen.parting.reasons import best_says
from shellgen.parting.shares import Arrangement, Share, arrangement
from shellgen.pattern.pattern import Pattern
from shellgen.solid.cell_cut import lowest_mm
from shellgen.solid.recipe import PieceRecipe, PlateRecipe


def design(settings: Settings, pattern: Pattern) -> MoldDesign:
    """The whole mold as recipes. `settings` must have every default filled in."""
    on_board = pattern.mount != "none"
    arranged = arrangement(settings, pattern) if settings.parting.kind == "planes" else None
    if arranged is not None and arranged.halves:
        arranged = None
    cells, notes = (arranged.shares, ()) if arranged is not None else wanted_cells(settings, pattern, on_board)
    least_mm = min(spec_of(settings, c.name).thickness_mm for c in cells) + settings.jacket.crevice_mm
    bare = bare_facets(settings, pattern, least_mm)
    if len(cells) == 2:
        ends = bars(bare, spec_of(settings, "A"), cells[0].pull_to_mold, on_board)
        if len(ends):
            bare = joined(bare, as_facets(ends))
            notes = (*notes, f"Bodies stand apart: {len(ends)} bars of rubber in the parting hold the jacket together.")
    settings, remarks = with_pitch(settings, pattern, lambda given: lay(given, bare, cells, on_board, arranged))
    laid = lay(settings, bare, cells, on_board, arranged)
    draped, names = laid.draped, tuple(c.name for c in cells)
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    standing = tuple(d for d in draped if on_board and (not isinstance(d.cell, Share) or d.cell.on_board))
    feet: tuple[Foot, ...] = feet_of(settings, standing, laid.tops) if standing else ()
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
    stands = {d.cell.name: foot for d, foot in zip(standing, feet, strict=True)}
    pieces = tuple(
        piece_recipe(k, settings, laid, stands.get(name), port if k == 0 else None) for k, name in enumerate(names)
    )
    if len(cells) > 2:
        notes = (*notes, two_halves_note(settings, pattern, cells))
    if settings.flange.gussets:
        notes = (*notes, gusset_note(pieces, laid.gaps))
        if isinstance(laid, Assembled):
            notes = (*notes, "Pieces between a list of planes are built without gussets, and none are reckoned with.")
    pour = None
    if settings.jacket.method == "pour":
        pieces, pour, said = vented(
            pieces, pattern, port, settings.jacket.thickness_mm, [k for d in draped for k in d.keys]
        )
        notes = (*notes, *said)
        if feet:
            pieces, said = without_bars_over(pieces, pour.holes)
            notes = (*notes, *said)
    plates: list[PlateRecipe] = []
    bolts = list(laid.bolts)
    if feet:
        bolts += board_bolts(settings, standing, feet)
        if settings.port.lid:
            lid, lid_bolts = base_lid(settings, standing, feet)
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
        assembly=(*(laid.order if isinstance(laid, Assembled) else names), *(p.name for p in plates)),
        notes=(*notes, *remarks, *laid.notes),
        pour=pour,
        seams=() if isinstance(laid, Halves) else laid.seams,
        keys_mm3=sum(d.keys_mm3 for d in draped),
    )


def wanted_cells(settings: Settings, pattern: Pattern, on_board: bool) -> tuple[tuple[Cell, ...], tuple[str, ...]]:
    """The cells of the parting asked; "best" is the first of the ranked planes, told in a note."""
    if settings.parting.kind == "radial":
        cells = radial_cells(settings.parting, pattern.bounds_mm)
        require_shares(cells, pattern.vertices_mm)
        return cells, ()
    if settings.parting.kind == "planes":  # a list of one
        taken = settings.parting.model_copy(update={"plane": settings.parting.planes[0]})
        return halves(taken, pattern.bounds_mm, on_board), ()
    if settings.parting.plane != "best":
        return halves(settings.parting, pattern.bounds_mm, on_board), crossing_notes(settings, pattern)
    ranking = rank_as_built(settings, pattern)
    best, middle = ranking.planes[0], ranking.middle
    plane = PlaneSettings(normal=best.normal, angle_deg=None, offset_mm=best.offset_mm)
    note = best_says(best, middle, settings.parting.follow == "silhouette")
    chosen = settings.parting.model_copy(update={"plane": plane})
    planned = settings.model_copy(update={"parting": chosen})
    return halves(chosen, pattern.bounds_mm, on_board), (note, *crossing_notes(planned, pattern))


def crossing_notes(settings: Settings, pattern: Pattern) -> tuple[str, ...]:
    """A sentence for each place of `parting.keep_clear` that the seam on the job's plane crosses."""
    if not settings.parting.keep_clear:
        return ()
    plane = wanted_plane(settings.parting, pattern.bounds_mm, pattern.mount != "none")
    return tuple(
        f"The seam runs through parting.keep_clear[{number}]: the parting plane crosses the pattern's surface there."
        for number in crossed_places(settings, pattern, *plane)
    )


def lay(
    settings: Settings, bare: Facets, cells: tuple[Cell, ...], on_board: bool, arranged: Arrangement | None
) -> Halves | Radial | Assembled:
    """Drape all cells and lay their mating faces, for the kind of parting asked."""
    if arranged is not None:
        return lay_planes(settings, bare, arranged, on_board)
    if settings.parting.kind == "radial":
        return lay_radial(settings, bare, cells, on_board)
    return lay_halves(settings, bare, (cells[0], cells[1]), on_board)


def piece_recipe(
    k: int, settings: Settings, laid: Halves | Radial | Assembled, stand: Foot | None, port: Port | None
) -> PieceRecipe:
    """The recipe of piece k, however the pieces part."""
    if isinstance(laid, Radial):
        return wedge_recipe(k, settings, laid, stand, port)
    if isinstance(laid, Assembled):
        return between_recipe(k, settings, laid, stand, port)
    return half_recipe(k, settings, laid, stand, port)
