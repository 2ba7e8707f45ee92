"""What a parting plane costs in rubber when it is laid as the build lays it: the same skins, lip, bars and terraces.

The search over directions looks through a coarse body; the planes that it offers are costed again here, so that what
`planes` says and what comes out of the mold differ by little more than the raster's last digits. The rubber of the
jacket keys is told apart: it does not depend on undercuts, but it is in the jacket.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.facets import Facets, facets
from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.errors import DesignError
from shellgen.job.model import PlaneSettings, Settings
from shellgen.mold.bridges import as_facets, bars
from shellgen.mold.drape import placed, spec_of
from shellgen.mold.fill import filled_mm3, plain_mm3
from shellgen.mold.flange import section_at_parting, turned_over
from shellgen.mold.halves import SLOPES_DEG, terraces
from shellgen.mold.key_places import proud_of
from shellgen.mold.lip import lip_facets, lip_outline
from shellgen.mold.skins import closed, envelope, joined, plan_grid, reach
from shellgen.mold.step import LEAST_GAIN, Silhouette, silhouette, stepped_cells
from shellgen.parting.cells import Cell, halves
from shellgen.parting.job_planes import cost_job, rank_job
from shellgen.parting.keep_clear import Box
from shellgen.parting.plane_cost import PlaneCost
from shellgen.parting.rank import Ranking
from shellgen.parting.stepped import SLOPE_LIMIT_DEG, steepest_deg
from shellgen.pattern.pattern import Pattern
from shellgen.solid.cell_cut import lowest_mm
from shellgen.solid.recipe import inverse

MOST_NODES = 2_000_000  # of the rasters of both jackets that a plane is costed on: the build's, but for huge jobs
STEP_NODES = 300_000  # of the raster on which a stepped surface is laid for a flat job, which only wants to know


def rank_as_built(
    settings: Settings, pattern: Pattern, keep_clear: Sequence[Box] = (), blank: Blank | None = None
) -> Ranking:
    """Rank the planes of a job by the rubber of their built jackets. The arguments are those of `rank_job`.

    blank : the pattern made ready, if it is there already.
    """
    blank = blank or prepared(settings, pattern)
    return rank_job(settings, pattern, keep_clear, recost=lambda plane: costed(blank, plane))


def cost_as_built(settings: Settings, pattern: Pattern) -> PlaneCost:
    """What the plane that a job asks for costs when built; the arguments and errors are those of `cost_job`."""
    return costed(prepared(settings, pattern), cost_job(settings, pattern))


@dataclass(frozen=True, slots=True, eq=False)
class Blank:
    """A pattern made ready for costing.

    bare : the mesh that the skins are laid over (with its lip). plain_mm3 : the pattern grown by the plain thickness.
    """

    settings: Settings
    pattern: Pattern
    bare: Facets
    plain_mm3: float

    @property
    def on_board(self) -> bool:
        """Whether a base plane clips everything."""
        return self.pattern.mount != "none"


def prepared(settings: Settings, pattern: Pattern) -> Blank:
    """A pattern made ready for costing its planes. settings : with every default filled in."""
    least_mm = min(spec_of(settings, name).thickness_mm for name in "AB") + settings.jacket.crevice_mm
    return Blank(settings, pattern, bare_facets(settings, pattern, least_mm), plain_mm3(settings, pattern))


def bare_facets(settings: Settings, pattern: Pattern, least_mm: float) -> Facets:
    """The mesh that the skins are laid over: the pattern, its skin where that stands outside it, on a board its lip.

    least_mm : the smallest radius that it is grown by.
    """
    bare = facets(pattern.vertices_mm, pattern.faces, least_mm)
    if pattern.skin.error_mm > 0:  # the cavity is the skin's: cover what of it stands outside the mesh
        bare = joined(bare, facets(pattern.skin.vertices_mm, pattern.skin.faces, least_mm))
    if pattern.mount != "none":
        rim = lip_outline(pattern.footprint, settings.mount.lip_mm)
        spec = spec_of(settings, "A")
        bare = joined(bare, lip_facets(rim, 2 * (spec.outside_mm + spec.crevice_mm) + 15.0))
    return bare


def costed(blank: Blank, plane: PlaneCost, most_nodes: int = MOST_NODES) -> PlaneCost:
    """A plane with the rubber that its built jacket takes, flat and stepped.

    most_nodes : of the jackets' rasters, which are no finer than the build's.
    """
    flat, stepped, keys = built_mm3(blank, np.array(plane.normal), plane.offset_mm, most_nodes)
    fill, less = (flat - blank.plain_mm3) / 1e3, (flat - stepped) / 1e3
    density = plane.fill_g / plane.fill_cm3 if plane.fill_cm3 > 0 else 0.0
    return replace(
        plane,
        fill_cm3=fill,
        stepped_fill_cm3=fill - less,
        fill_g=fill * density,
        keys_cm3=keys / 1e3,
        jacket_cm3=(flat + keys - blank.pattern.skin.volume_mm3) / 1e3,
    )


def built_mm3(blank: Blank, normal: FloatArray, offset_mm: float, most_nodes: int) -> tuple[float, float, float]:
    """Rubber and pattern of the halves that a plane makes, of those that follow the silhouette from it; jacket keys."""
    settings, on_board = blank.settings, blank.on_board
    plane = PlaneSettings(normal=tuple(float(v) for v in normal), angle_deg=None, offset_mm=float(offset_mm))  # type: ignore[arg-type]
    parting = settings.parting.model_copy(update={"kind": "plane", "plane": plane})
    settings = settings.model_copy(update={"parting": parting})
    cells = halves(parting, blank.pattern.bounds_mm, on_board)
    bare, spec = blank.bare, spec_of(settings, "A")
    ends = bars(bare, spec, cells[0].pull_to_mold, on_board)
    if len(ends):
        bare = joined(bare, as_facets(ends))
    grid = plan_grid(bare.moved(inverse(cells[0].pull_to_mold)), spec, on_board)
    followed = settings.parting.follow == "silhouette"
    fine = pitch_of(spec.pitch_mm, grid, most_nodes)
    pitch = fine if followed else pitch_of(spec.pitch_mm, grid, min(most_nodes, STEP_NODES))
    raster = settings.raster.model_copy(update={"pitch_mm": pitch})
    seen = silhouette(bare, cells, settings.model_copy(update={"raster": raster}), on_board)
    surface = seen.surface()
    follows = bool(surface.heights_mm.any())
    laid = stepped_cells(cells, surface) if follows else cells
    with ThreadPoolExecutor(2) as pool:
        (first, some), (second, more) = pool.map(
            lambda cell, flat: _jackets(settings, bare, cell, flat, on_board, fine), laid, cells
        )
    flat = filled_mm3((first, second), None, first.grid, on_board)
    keys = filled_mm3((some, more), None, first.grid, on_board) - flat if settings.jacket.keys else 0.0
    if not follows:
        return flat, flat, keys
    with ThreadPoolExecutor(2) as pool:
        one, other = pool.map(lambda cell: _outside(settings, bare, cell, on_board, seen.grid.pitch_mm), laid)
    return flat, flat - _saved_mm3(settings, seen, cells, (first, second), (one, other), on_board), keys


def pitch_of(built_mm: float, grid: Grid, most_nodes: int) -> float:
    """The build's pitch, or a wider one of which the raster has that many nodes. grid : at the build's pitch."""
    return built_mm * max(1.0, float(np.sqrt(grid.rows * grid.columns / most_nodes)))


def _jackets(
    settings: Settings, bare: Facets, cell: Cell, flat: Cell, on_board: bool, pitch_mm: float
) -> tuple[Envelope, Envelope]:
    """A half's jacket as thick as built, on a raster of that pitch, without its keys and with them.

    cell : with the lowest parting that the jacket must reach down to. flat : the same half parted by the plane.
    """
    spec = spec_of(settings, cell.name, lowest_mm(cell.parting))
    mesh = bare.moved(inverse(cell.pull_to_mold))
    grid = plan_grid(mesh, spec, on_board, pitch_mm, spare_mm=proud_of(settings, spec))
    raw = reach(mesh, grid, spec.jacket_mm, spec)
    jacket = closed(raw, grid, spec.jacket_mm, spec)
    parted = cell if settings.parting.follow == "silhouette" else flat  # keys are placed by the parting that is built
    _, found = placed(parted, raw, grid, spec, settings, on_board, not on_board and cell.name == "A")
    if found is None or not len(found.at_mm):
        return jacket, jacket
    keyed = np.maximum(raw, reach(found.domes, grid, spec.jacket_mm, spec))
    return jacket, closed(keyed, grid, spec.jacket_mm, spec)


def _outside(settings: Settings, bare: Facets, cell: Cell, on_board: bool, pitch_mm: float) -> Envelope:
    """The outside of a half's shell, on a raster of that pitch."""
    spec = spec_of(settings, cell.name, lowest_mm(cell.parting))
    mesh = bare.moved(inverse(cell.pull_to_mold))
    return envelope(mesh, plan_grid(mesh, spec, on_board, pitch_mm), spec.outside_mm, spec)


def _saved_mm3(
    settings: Settings,
    seen: Silhouette,
    cells: tuple[Cell, Cell],
    jackets: tuple[Envelope, Envelope],
    outsides: tuple[Envelope, Envelope],
    on_board: bool,
) -> float:
    """Rubber that the steepest stepped surface saves whose terraces work; 0 where none saves enough.

    outsides : of both halves, of which the flange's section is taken.
    """
    plane = filled_mm3(jackets, None, seen.grid, on_board)

    def section(surface: Envelope) -> BaseGeometry:
        first, second = (
            section_at_parting(outside, cell.parting)
            for outside, cell in zip(outsides, stepped_cells(cells, surface), strict=True)
        )
        return shapely.union_all([first, turned_over(second)])

    given = "slope_deg" in settings.parting.model_fields_set
    for slope_deg in (seen.slope_deg,) if given else SLOPES_DEG:
        followed = seen.at_slope(slope_deg)
        try:
            terraced = terraces(settings, followed, followed.surface(), section, on_board)
        except DesignError:  # no bolt fits on such a flange
            continue
        fill = filled_mm3(jackets, terraced.surface, seen.grid, on_board)
        if fill > plane - LEAST_GAIN * plane:
            return 0.0
        if steepest_deg(terraced.surface.heights_mm, terraced.surface.grid) <= SLOPE_LIMIT_DEG:
            return plane - fill
    return 0.0
