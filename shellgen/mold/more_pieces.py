"""Two halves or more: the rubber that further pieces save, against the flanges and bolts that they add.

The rule: a third piece is worth making when the rubber that it saves weighs more than the shell material of the flanges
that it adds together with their bolts. Both are weighed on the same rough raster. Before three pieces are advised their
mating faces are laid as the build lays them, on a wider raster: what the build would refuse is not advised.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.errors import DesignError
from shellgen.job.defaults import bolt_pitch_mm
from shellgen.job.model import Settings
from shellgen.mold.as_built import Blank, built_mm3, pitch_of, prepared
from shellgen.mold.drape import spec_of
from shellgen.mold.fill import PARTS
from shellgen.mold.flange import polygons, section_at_parting
from shellgen.mold.met_rooms import widened
from shellgen.mold.radial import lay_radial, radial_cores
from shellgen.mold.skins import envelope, plan_grid
from shellgen.parting.cells import Cell, radial_cells, require_shares
from shellgen.parting.job_planes import quick_best
from shellgen.parting.plane_cost import PlaneCost
from shellgen.parting.shares import arrangement
from shellgen.parting.surface import Parting, ValleyParting
from shellgen.pattern.pattern import Pattern
from shellgen.solid.cell_cut import lowest_mm
from shellgen.solid.recipe import inverse
from shellgen.standards.fasteners import bolt as bolt_data
from shellgen.standards.materials import material

NODES = 40_000  # of the rough raster
CHECK_NODES = 80_000  # of the raster on which mating faces are tried
ANGLES = 6  # turns of three radial pieces that are tried
STEEL_G_MM3 = 7.85e-3
SET = 2.0  # a bolt with head, nut and washers weighs about twice its shank; common practice, no source
ENOUGH = 0.05  # of the jacket's rubber: two halves that need no more than this beyond the pieces would do
Pieces = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class ThirdPiece:
    """Three pieces about an upright axis, the best turn of those tried, against the best two halves.

    saves_g : rubber. costs_g : shell material of the added flanges, and the added bolts. Both may be negative.
    refused : why the build would not make them, where they were worth it and no such turn can be bolted.
    """

    angle_deg: float
    fill_cm3: float
    halves_fill_cm3: float
    seam_mm: float
    halves_seam_mm: float
    saves_g: float
    costs_g: float
    refused: str = ""

    @property
    def worth(self) -> bool:
        """Whether it saves more than it costs, and can be bolted."""
        return self.saves_g > self.costs_g and not self.refused

    def says(self) -> str:
        """In a sentence, with the rule."""
        fills = f"fill {self.fill_cm3:.1f} cm3 where the best two halves fill {self.halves_fill_cm3:.1f}"
        added = f"{self.seam_mm - self.halves_seam_mm:+.0f} mm of flange with its bolts, {self.costs_g:+.0f} g"
        rubber = f"{abs(self.saves_g):.0f} g {'less' if self.saves_g >= 0 else 'more'} rubber"
        says = f"Three pieces about an upright axis (turned {self.angle_deg:.0f} degrees) {fills}: {rubber}, {added}. "
        if self.refused:
            return f"{says}They would save more than they cost, but the build would refuse them: {self.refused}"
        if not self.worth:
            return f"{says}By weight, a third piece is not worth it."
        how = f'parting.kind = "radial" and parting.angle_deg = {self.angle_deg:.0f}'
        return f"{says}By weight, a third piece saves more than it costs; to have it, give {how}."


@dataclass(frozen=True, slots=True)
class TwoHalves:
    """The best two halves against the pieces that a job asks for. allowed_cm3 : more that would still do."""

    fill_cm3: float
    pieces_fill_cm3: float
    pieces: int
    allowed_cm3: float

    @property
    def would_do(self) -> bool:
        """Whether two halves need hardly more rubber."""
        return self.fill_cm3 <= self.pieces_fill_cm3 + self.allowed_cm3

    def says(self) -> str:
        """In a sentence."""
        more = self.fill_cm3 - self.pieces_fill_cm3
        than = f"{abs(more):.0f} cm3 of rubber {'more' if more > 0 else 'less'} than these {self.pieces} pieces"
        if self.would_do:
            return f"Two halves would do: the best take about {than}."
        return f"Two halves would not do as well: the best take about {than}."


def two_halves_note(settings: Settings, pattern: Pattern, cells: Sequence[Cell]) -> str:
    """For a job of several pieces: whether two halves would do, the best along a few directions."""
    return two_halves(prepared(settings, pattern), cells, *quick_best(settings, pattern)).says()


def third_piece(blank: Blank, best: PlaneCost) -> ThirdPiece:
    """Weigh three radial pieces against the best two halves. best : these, as ranked for the job.

    Of the turns tried the one that needs the least rubber is told; where it is worth its flanges but the build would
    refuse it, the next that is worth it and can be bolted, if there is one.
    """
    settings = blank.settings
    halves = _halves_mm3(blank, np.array(best.normal), best.offset_mm)
    known = best.stepped_fill_cm3 if settings.parting.follow == "silhouette" else best.fill_cm3
    tries: list[tuple[float, ThirdPiece, Settings]] = []
    for k in range(ANGLES):
        angle = 120.0 * k / ANGLES
        turned = settings.parting.model_copy(update={"kind": "radial", "pieces": 3, "angle_deg": angle})
        whole, seam = laid_mm3(blank, radial_cells(turned, blank.pattern.bounds_mm))
        found = ThirdPiece(
            angle_deg=angle,
            fill_cm3=known + (whole - halves) / 1e3,  # a rough raster is right about differences
            halves_fill_cm3=known,
            seam_mm=seam,
            halves_seam_mm=best.flange_length_mm,
            saves_g=(halves - whole) / 1e3 * material("silicone").density_g_cm3,
            costs_g=(seam - best.flange_length_mm) * flange_g_mm(settings),
        )
        tries.append((whole, found, settings.model_copy(update={"parting": turned})))
    tries.sort(key=lambda entry: entry[0])
    told = tries[0][1]
    for _, found, asked in tries:
        if not found.worth:
            continue
        refused = refusal(blank, asked)
        if not refused:
            return found
        if found is told or not told.saves_g > told.costs_g:
            told = replace(found, refused=refused)
    return told


def refusal(blank: Blank, asked: Settings) -> str:
    """Why the build would not make the radial pieces of a job; empty if it would.

    Their mating faces are laid by the build's own code, without jacket keys and on a raster of CHECK_NODES.
    """
    cells = radial_cells(asked.parting, blank.pattern.bounds_mm)
    spec = spec_of(asked, "A")
    grid = plan_grid(blank.bare.moved(inverse(cells[0].pull_to_mold)), spec, blank.on_board)
    usual = bolt_pitch_mm(str(asked.bolts.size), float(np.ptp(blank.pattern.bounds_mm)))
    pitch = asked.bolts.pitch_mm if isinstance(asked.bolts.pitch_mm, float) else usual
    wide = asked.raster.model_copy(update={"pitch_mm": pitch_of(spec.pitch_mm, grid, CHECK_NODES)})
    jacket = asked.jacket.model_copy(update={"keys": False})
    bolts = asked.bolts.model_copy(update={"pitch_mm": pitch})
    try:
        require_shares(cells, blank.pattern.vertices_mm)
        tried = asked.model_copy(update={"raster": wide, "jacket": jacket, "bolts": bolts})
        lay_radial(tried, blank.bare, cells, blank.on_board)
    except DesignError as error:
        return str(error)
    return ""


def two_halves(
    blank: Blank, cells: Sequence[Cell], normal: FloatArray, offset_mm: float, known_cm3: float | None = None
) -> TwoHalves:
    """Two halves by a plane, such as the best, against the job's own cells.

    known_cm3 : what these halves fill, where that was costed: a rough raster is right about the difference only.
    """
    whole, _ = laid_mm3(blank, tuple(cells))
    halves = _halves_mm3(blank, normal, offset_mm)
    rubber = (whole - blank.pattern.skin.volume_mm3) / 1e3
    fill = (halves - blank.plain_mm3) / 1e3 if known_cm3 is None else known_cm3
    return TwoHalves(fill, fill + (whole - halves) / 1e3, len(cells), ENOUGH * max(rubber, 0.0))


def _halves_mm3(blank: Blank, normal: FloatArray, offset_mm: float) -> float:
    """Rubber and pattern of two halves on the rough raster, along the silhouette where the job says so."""
    flat, stepped, _ = built_mm3(blank, normal, offset_mm, NODES)
    return stepped if blank.settings.parting.follow == "silhouette" else flat


def flange_g_mm(settings: Settings) -> float:
    """Grams that a mm of seam takes: both flanges of shell material, and its share of a bolt with nut and washers."""
    thick, wide = float(settings.flange.thickness_mm or 0.0), float(settings.flange.width_mm or 0.0)
    flanges = 2 * thick * wide / 1e3 * material(settings.shell.material).density_g_cm3
    across = bolt_data(str(settings.bolts.size)).d_mm
    pitch = settings.bolts.pitch_mm if isinstance(settings.bolts.pitch_mm, float) else 10 * across
    return flanges + SET * STEEL_G_MM3 * 0.25 * np.pi * across**2 * (2 * thick + across) / pitch


def laid_mm3(blank: Blank, cells: Pieces) -> tuple[float, float]:
    """Rubber and pattern of all cells together [mm3], and the length of their seams [mm], on the rough raster."""
    grown_mm = spec_of(blank.settings, cells[0].name, lowest_mm(cells[0].parting)).jacket_mm

    def cores(made: Sequence[Envelope]) -> list[list[FloatArray]]:
        valley = cells[0].parting
        if not isinstance(valley, ValleyParting):
            return [[] for _ in cells]
        return radial_cores(cells, made, grown_mm, valley.slope)

    jackets = widened(blank.bare, len(cells), lambda k, mesh: _jacket(blank, cells[k], mesh), cores)
    whole = sum(share_mm3(j, c.parting, _stands(blank, c)) for j, c in zip(jackets, cells, strict=True))
    seam = sum(_seam_mm(j, c.parting, blank.on_board) for j, c in zip(jackets, cells, strict=True))
    return whole, seam / 2


def _jacket(blank: Blank, cell: Cell, bare: Facets) -> Envelope:
    """A cell's jacket over a mesh on the rough raster."""
    spec = spec_of(blank.settings, cell.name, lowest_mm(cell.parting))
    mesh = bare.moved(inverse(cell.pull_to_mold))
    upright = _stands(blank, cell)
    grid = plan_grid(mesh, spec, upright)
    pitch = pitch_of(spec.pitch_mm, grid, NODES)
    return envelope(mesh, plan_grid(mesh, spec, upright, pitch), spec.jacket_mm, spec)


def _stands(blank: Blank, cell: Cell) -> bool:
    """Whether the board bounds a cell's plan: it leaves level, its y counts from the board."""
    return blank.on_board and abs(float(cell.pull_to_mold[2, 2])) < 1e-9


def share_mm3(jacket: Envelope, parting: Parting, on_board: bool) -> float:
    """Rubber and pattern of one piece: what lies between its parting and its jacket, above the board."""
    g = jacket.grid
    t = (np.arange(PARTS) + 0.5) / PARTS
    x = (g.x_mm[:-1, None] + t * g.pitch_mm).ravel()
    y = (g.y_mm[:-1, None] + t * g.pitch_mm).ravel()
    total = 0.0
    for rows in np.array_split(y, max(1, len(y) // 256)):
        u, v = np.meshgrid(x, rows)
        depth = jacket.at(u, v) - parting.at(u, v)
        if on_board:
            depth = np.where(v > 0, depth, 0.0)
        total += float(np.maximum(depth, 0.0).sum())
    return total * (g.pitch_mm / PARTS) ** 2


def _seam_mm(jacket: Envelope, parting: Parting, on_board: bool) -> float:
    """Length of the line in which a jacket meets its valley's two faces; 0 for other partings."""
    if not isinstance(parting, ValleyParting):
        return 0.0
    stretch = float(np.hypot(1.0, parting.slope))
    total = 0.0
    for part in polygons(section_at_parting(jacket, parting)):
        ring = np.asarray(part.exterior.coords) * np.array([stretch, 1.0])
        line: shapely.Geometry = shapely.LineString(ring)
        if on_board:
            low, high = ring.min(axis=0) - 1, ring.max(axis=0) + 1
            line = line.intersection(shapely.box(low[0], 0.5 * jacket.grid.pitch_mm, high[0], high[1]))
        total += float(shapely.length(line))
    return total


def weighed(blank: Blank, best: PlaneCost) -> ThirdPiece | TwoHalves:
    """What is to be said about the number of pieces: of a third beside two halves, or of halves beside the job's own.

    best : of the job's two halves.
    """
    settings, pattern = blank.settings, blank.pattern
    if settings.parting.kind == "radial":
        cells: Sequence[Cell] = radial_cells(settings.parting, pattern.bounds_mm)
    elif settings.parting.kind == "planes" and len(settings.parting.planes) > 1:
        cells = arrangement(settings, pattern).shares
    else:
        return third_piece(blank, best)
    known = best.stepped_fill_cm3 if settings.parting.follow == "silhouette" else best.fill_cm3
    return two_halves(blank, cells, np.array(best.normal), best.offset_mm, known)
