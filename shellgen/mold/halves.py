"""Two halves, by a plane or along the silhouette: skins, flange, closing, in the order in which each needs the last."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.bolt_row import length
from shellgen.mold.closing import SPOT_FACE_MM, Closing, Ground, closing
from shellgen.mold.drape import Draped, drape
from shellgen.mold.fill import filled_mm3
from shellgen.mold.flange import FlangePlan, flange_plan, section_at_parting, turned_over
from shellgen.mold.mold import Bolt, Key
from shellgen.mold.places import Places, Seat, bolt_offset_mm, find_places
from shellgen.mold.step import (
    LEAST_GAIN,
    Silhouette,
    flange_tops,
    ground,
    silhouette,
    slope_at,
    stepped_cells,
)
from shellgen.parting.cells import Cell
from shellgen.solid.cell_cut import lowest_mm
from shellgen.standards.fasteners import bolt as bolt_data

ROUNDS = 3
SLOPES_DEG = (45.0, 35.0, 25.0, 15.0)


@dataclass(frozen=True, slots=True, eq=False)
class Halves:
    """Both halves with all that they share. tops : outer faces of their flanges where the parting is stepped."""

    draped: tuple[Draped, Draped]
    plan: FlangePlan
    places: Places
    shut: Closing
    tops: tuple[Envelope | None, Envelope | None]
    notes: tuple[str, ...]

    @property
    def bolts(self) -> tuple[Bolt, ...]:
        """The closing bolts."""
        return self.shut.bolts

    @property
    def seam_mm(self) -> float:
        """Length of the bolt line in plan."""
        return sum(length(line) for line in self.plan.bolt_line)

    @property
    def gaps(self) -> tuple[int, ...]:
        """Gaps between neighbouring bolts on each piece."""
        return (len(self.places.middles),) * 2

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of the mating face."""
        return self.shut.keys


def lay_halves(settings: Settings, bare: Facets, cells: tuple[Cell, Cell], on_board: bool) -> Halves:
    """Drape two cells and lay their flange. bare : the pattern with its lip, in the mold frame."""
    if settings.parting.follow == "plane":
        return _flat(settings, _draped(settings, bare, cells, on_board), on_board, ())
    seen = silhouette(bare, cells, settings, on_board)
    if not seen.surface().heights_mm.any():
        notes = ("The silhouette lies in the parting plane: the mating face stays flat.",)
        return _flat(settings, _draped(settings, bare, cells, on_board), on_board, notes)
    if "slope_deg" in settings.parting.model_fields_set:
        laid, said = _followed(settings, bare, seen, cells, on_board), seen.limit_note()
        return replace(laid, notes=(*laid.notes, said)) if said else laid
    refusal = ""
    for slope_deg in SLOPES_DEG:  # nobody asked for a limit: the steepest at which terraces for the bolts work
        try:
            laid = _followed(settings, bare, seen.at_slope(slope_deg), cells, on_board)
            said = f"Its slope is held to {slope_deg:g} degrees, to leave room for flat seats under the bolts."
            return laid if slope_deg == SLOPES_DEG[0] else replace(laid, notes=(*laid.notes, said))
        except DesignError as error:
            refusal = refusal or str(error)
    notes = (f"The mating face stays flat. {refusal}",)
    return _flat(settings, _draped(settings, bare, cells, on_board), on_board, notes)


def _followed(settings: Settings, bare: Facets, seen: Silhouette, cells: tuple[Cell, Cell], on_board: bool) -> Halves:
    """Halves along a silhouette. Raises DesignError where terraces for the bolts make its surface too steep."""
    surface = seen.surface()
    draped = _draped(settings, bare, stepped_cells(cells, surface), on_board)
    return _stepped(settings, seen, surface, draped, cells, on_board)


def _draped(settings: Settings, bare: Facets, cells: Sequence[Cell], on_board: bool) -> tuple[Draped, Draped]:
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(
            lambda c: drape(c, bare, settings, on_board, not on_board and c.name == "A", lowest_mm(c.parting)), cells
        )
    return first, second


def _flat(settings: Settings, draped: tuple[Draped, Draped], on_board: bool, notes: tuple[str, ...]) -> Halves:
    plan = _plan(settings, _section(draped), on_board)
    places = find_places(plan, settings)
    shut = _shut(settings, draped, places, None)
    return Halves(draped, plan, places, shut, (None, None), notes)


def _stepped(
    settings: Settings,
    seen: Silhouette,
    bare: Envelope,
    draped: tuple[Draped, Draped],
    cells: tuple[Cell, Cell],
    on_board: bool,
) -> Halves:
    """The surface with seats for its bolts; the plane again where that is not dearer.

    bare : the surface without seats.
    """

    def section(surface: Envelope) -> BaseGeometry:
        return _section([replace(d, cell=c) for d, c in zip(draped, stepped_cells(cells, surface), strict=True)])

    terraced = terraces(settings, seen, bare, section, on_board)
    surface, seats, plan, places = terraced.surface, terraced.seats, terraced.plan, terraced.places
    jackets = (draped[0].skins.jacket, draped[1].skins.jacket)
    fill, plane = (filled_mm3(jackets, s, seen.grid, on_board) for s in (surface, None))
    if fill > plane - LEAST_GAIN * plane:
        flat = tuple(replace(d, cell=c) for d, c in zip(draped, cells, strict=True))
        note = (
            f"Following the silhouette would change the rubber by {(fill - plane) / 1e3:+.1f} cm3, terraces included: "
            "the mating face stays flat."
        )
        return _flat(settings, (flat[0], flat[1]), on_board, (note,))
    seen.require_slope(surface, seats)
    final = stepped_cells(cells, surface)
    draped = (replace(draped[0], cell=final[0]), replace(draped[1], cell=final[1]))
    thickness = float(settings.flange.thickness_mm or 0.0)
    tops = flange_tops(surface, thickness, seats[: len(places.spots)])
    shut = _shut(settings, draped, places, ground(surface, tops, thickness))
    note = f"The mating face follows the silhouette: {(plane - fill) / 1e3:.1f} cm3 less rubber than with the plane."
    return Halves(draped, plan, places, shut, tops, (note,))


@dataclass(frozen=True, slots=True, eq=False)
class Terraced:
    """A stepped surface with its flat seats, and the flange that they belong to."""

    surface: Envelope
    seats: tuple[Seat, ...]
    plan: FlangePlan
    places: Places


def terraces(
    settings: Settings,
    seen: Silhouette,
    bare: Envelope,
    section_at: Callable[[Envelope], BaseGeometry],
    on_board: bool,
) -> Terraced:
    """Places by the surface without seats (`bare`), then the surface with them.

    section_at : the plan region in which either half's outside reaches beyond a surface. A terrace sunk into a hill
    bares more of the wall there: bolts that it would crowd are laid out once more.
    """
    data = bolt_data(str(settings.bolts.size))
    section = section_at(bare)
    for _ in range(ROUNDS):
        plan = _plan(settings, section, on_board)
        places = find_places(plan, settings, steep=lambda points: slope_at(bare, points))
        seats = places.seats(data)
        surface = seen.surface(seats)
        bared = section_at(surface)
        washers = shapely.MultiPoint(places.spots).buffer(data.washer_od_mm / 2 + SPOT_FACE_MM)
        if not bared.intersects(washers):
            break
        section = section.union(bared)
    return Terraced(surface, seats, plan, places)


def _section(draped: Sequence[Draped]) -> BaseGeometry:
    """The plan region in which either half's outside reaches beyond the parting."""
    first, second = (section_at_parting(d.skins.outside, d.cell.parting) for d in draped)
    return shapely.union_all([first, turned_over(second)])


def _plan(settings: Settings, section: BaseGeometry, on_board: bool) -> FlangePlan:
    """Outline and bolt line about the section of both halves at their parting."""
    data = bolt_data(str(settings.bolts.size))
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    return flange_plan(
        section,
        width_mm=float(settings.flange.width_mm or 0.0),
        bolt_mm=bolt_offset_mm(data),
        rounding_mm=max(0.75 * data.washer_od_mm, 6.0),
        board_gap_mm=flange_mm + data.washer_od_mm / 2 + 2.0 if on_board else None,
    )


def _shut(settings: Settings, draped: tuple[Draped, Draped], places: Places, on: Ground | None) -> Closing:
    names = (draped[0].cell.name, draped[1].cell.name)
    return closing(places, settings, names, draped[0].cell.pull_to_mold, on)
