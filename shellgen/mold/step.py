"""The stepped parting of two halves as a raster: laid along the silhouette, terraced, and weighed against its plane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.envelope.splat import splat
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.closing import Ground
from shellgen.mold.drape import spec_of
from shellgen.mold.feet import BAR_MM
from shellgen.mold.places import Seat
from shellgen.mold.skins import plan_grid
from shellgen.parting.cells import Cell
from shellgen.parting.columns import EMPTY
from shellgen.parting.stepped import SLOPE_LIMIT_DEG, steepest_deg, stepped_surface, with_terraces
from shellgen.parting.surface import SteppedParting
from shellgen.solid.recipe import inverse

FOLLOW_MM = 2.0  # the stepped surface is smoothed over this width
COLLAR = 1.0  # of the wall with its clearance: so far the surface stays at the height of its rim
WIDEST_MM = 1.0  # and its raster is not made wider than this
SMOOTH_MM = 1.0  # of the flange's outer face; common practice, no source
PROUD_MM = 0.25  # by which the flange stands over a seat before it is spot-faced
LEAST_GAIN = 1e-3  # of the filled volume: less than that is the raster's noise, and the plane is kept
KEPT_SHARE = 0.1  # of what following the silhouette can save: a limit that loses less keeps to it
GENTLER_DEG = (55.0, 50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0)


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """The rubber's body seen along the pull: its lowest and highest point per node, in the first half's frame.

    rows_below : rows of the raster under the board, which repeat the first one above it. slope_deg : steepest step.
    laid_mm : the stepped surface at that slope, without terraces, over the rows above the board. collar_mm : how far
    beyond the rubber's shadow it stays at the height of its rim.
    """

    grid: Grid
    lower_mm: FloatArray
    upper_mm: FloatArray
    rows_below: int
    slope_deg: float
    laid_mm: FloatArray
    collar_mm: float = 0.0

    def at_slope(self, slope_deg: float) -> Silhouette:
        """The same, followed at another steepest step."""
        if slope_deg == self.slope_deg:
            return self
        return followed(self.grid, self.lower_mm, self.upper_mm, self.rows_below, slope_deg, self.collar_mm)

    def surface(self, seats: Sequence[Seat] = ()) -> Envelope:
        """The stepped surface with flat terraces at the seats."""
        heights = with_terraces(self.laid_mm, _above(self.grid, self.rows_below), seats, _rise(self.slope_deg))
        heights = np.concatenate([np.repeat(heights[:1], self.rows_below, axis=0), heights])
        heights[np.abs(heights) < 1e-6] = 0.0
        return Envelope(self.grid, heights, 0.0, 0.0, 0.0, float(heights.min()))

    def kept_from_mm3(self) -> float:
        """Fill that stays because the slope limit keeps the surface from the silhouette; terraces not counted."""
        return _left_mm3(self.lower_mm, self.upper_mm, self.rows_below, self.laid_mm, self.grid.pitch_mm)

    def limit_note(self) -> str:
        """What a slope limit leaves filled that a steeper one would not, and the nearest that keeps to the silhouette.

        Empty where the limit is no matter.
        """
        flat = _left_mm3(self.lower_mm, self.upper_mm, self.rows_below, 0.0 * self.laid_mm, self.grid.pitch_mm)
        left, least = self.kept_from_mm3(), self.at_slope(SLOPE_LIMIT_DEG).kept_from_mm3()
        enough = least + KEPT_SHARE * (flat - least)
        if left <= enough:
            return ""
        steeper = [a for a in GENTLER_DEG[::-1] if a > self.slope_deg]
        near = next((a for a in steeper if self.at_slope(a).kept_from_mm3() <= enough), SLOPE_LIMIT_DEG)
        lost = f"about {(left - least) / 1e3:.1f} cm3"
        return (
            f"parting.slope_deg = {self.slope_deg:g} cannot keep to the silhouette: {lost} "
            f"stay filled that a steeper face would save. The nearest limit that keeps to it is {near:g}."
        )

    def require_slope(self, surface: Envelope, seats: Sequence[Seat]) -> None:
        """Refuse a surface that its terraces make steeper than bolts can stand beside.

        Raises DesignError with the nearest slope limit at which the same terraces work.
        """
        steepest = steepest_deg(surface.heights_mm, surface.grid)
        if steepest <= SLOPE_LIMIT_DEG:
            return
        for gentler in GENTLER_DEG:
            if gentler >= self.slope_deg:
                continue
            found = self.at_slope(gentler).surface(seats)
            if steepest_deg(found.heights_mm, found.grid) <= SLOPE_LIMIT_DEG:
                advice = f"The nearest that works is {gentler:g}."
                break
        else:
            advice = 'No gentler one works here: give bolts.pitch_mm a larger value, or parting.follow = "plane".'
        raise DesignError(
            f"parting.slope_deg = {self.slope_deg:g}: with flat seats for the bolts the stepped parting gets "
            f"{steepest:.0f} degrees steep, over {SLOPE_LIMIT_DEG:g}. {advice}"
        )


def _left_mm3(lower: FloatArray, upper: FloatArray, below: int, heights: FloatArray, pitch_mm: float) -> float:
    """Volume between a surface and the rubber's body where it runs above or below that, in its shadow."""
    low, high = lower[below:], upper[below:]
    shadow = (low <= high) & (np.abs(low) < EMPTY / 2) & (np.abs(high) < EMPTY / 2)
    off = np.maximum(heights - high, 0.0) + np.maximum(low - heights, 0.0)
    return float(off[shadow].sum()) * pitch_mm**2


def _rise(slope_deg: float) -> float:
    """Rise over run."""
    return float(np.tan(np.radians(slope_deg)))


def _above(grid: Grid, rows_below: int) -> Grid:
    """The raster's rows above the board."""
    return replace(grid, y0_mm=grid.y0_mm + rows_below * grid.pitch_mm, rows=grid.rows - rows_below)


def followed(
    grid: Grid, lower: FloatArray, upper: FloatArray, rows_below: int, slope_deg: float, collar_mm: float = 0.0
) -> Silhouette:
    """A silhouette with its stepped surface; the arguments are its fields."""
    n = rows_below
    laid = stepped_surface(
        lower[n:],
        upper[n:],
        _above(grid, n),
        level_mm=0.0,
        slope=_rise(slope_deg),
        smooth_mm=FOLLOW_MM,
        collar_mm=collar_mm,
    )
    return Silhouette(grid, lower, upper, rows_below, slope_deg, laid, collar_mm)


def silhouette(bare: Facets, cells: Sequence[Cell], settings: Settings, on_board: bool) -> Silhouette:
    """Look through the rubber's body of two halves, on a raster wide enough for the flange.

    A mating face is smoothed over FOLLOW_MM, so its raster may be up to twice as wide as that of the skins.
    """
    views = []
    for cell in cells:
        mesh = bare.moved(inverse(cell.pull_to_mold))
        low = min(float(mesh.points[:, 2].min()), 0.0) - settings.jacket.thickness_mm
        spec = spec_of(settings, cell.name, low)
        pitch = max(spec.pitch_mm, min(2 * spec.pitch_mm, WIDEST_MM))
        views.append((mesh, spec, plan_grid(mesh, spec, on_board, pitch)))
    first, second = views[0][2], views[1][2]
    h = first.pitch_mm
    flange = max(float(settings.flange.width_mm or 0.0), float(settings.mount.flange_mm or 0.0), 40.0)
    pad = int(np.ceil((flange + BAR_MM + 10.0) / h))
    left = min(first.x0_mm, -(second.x0_mm + (second.columns - 1) * h)) - pad * h
    right = max(first.x0_mm + (first.columns - 1) * h, -second.x0_mm) + pad * h
    low_y = min(first.y0_mm, second.y0_mm) - (0 if on_board else pad) * h
    high_y = max(g.y0_mm + (g.rows - 1) * h for g in (first, second)) + pad * h
    grid = Grid(left, low_y, h, round((high_y - low_y) / h) + 1, round((right - left) / h) + 1)
    below = int(np.ceil(-low_y / h)) if on_board else 0
    turned = replace(grid, x0_mm=-right)
    seen = []
    for (mesh, spec, _), own in zip(views, (grid, turned), strict=True):
        heights = splat(mesh, own, spec.jacket_mm, spec.draft_deg, -EMPTY)
        seen.append(np.where(heights > -0.5 * EMPTY, heights, -EMPTY))
    lower, upper = -seen[1][:, ::-1], seen[0]
    # just outside the silhouette both fall off steeply and cross: midway between them is the silhouette's own height
    rim = (lower > upper) & (upper > -0.5 * EMPTY) & (lower < 0.5 * EMPTY)
    middle = 0.5 * (lower + upper)
    lower, upper = np.where(rim, middle, lower), np.where(rim, middle, upper)
    collar = views[0][1].outside_mm - views[0][1].jacket_mm
    return followed(grid, lower, upper, below, settings.parting.slope_deg, COLLAR * collar)


def stepped_cells(cells: Sequence[Cell], surface: Envelope) -> tuple[Cell, Cell]:
    """Two halves that share one stepped surface."""
    first, second = cells
    return (
        replace(first, parting=SteppedParting(surface)),
        replace(second, parting=SteppedParting(surface, over=True)),
    )


def flange_tops(surface: Envelope, thickness_mm: float, seats: Sequence[Seat]) -> tuple[Envelope, Envelope]:
    """Outer faces of both halves' flanges, each in its own frame: the thickness is square to the stepped surface.

    Over the seats (x, y, radius) each stands a little proud where it is not flat already, to be spot-faced.
    """
    g, z = surface.grid, surface.heights_mm
    gy, gx = np.gradient(z, g.pitch_mm)
    rise = gaussian_filter(
        thickness_mm * np.sqrt(1.0 + gx**2 + gy**2), SMOOTH_MM / g.pitch_mm, mode="nearest", truncate=3.0
    )
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    tops = [z + rise, -z + rise]
    for cx, cy, radius in seats:
        disc = np.hypot(x - cx, y - cy) <= radius + g.pitch_mm
        level = float(surface.at(np.array(cx), np.array(cy)))
        for top, seat in zip(tops, (level + thickness_mm, -level + thickness_mm), strict=True):
            if np.abs(top[disc] - seat).max() > 0.05:
                top[disc] = np.maximum(top[disc], seat + PROUD_MM)
    second = Grid(-(g.x0_mm + g.pitch_mm * (g.columns - 1)), g.y0_mm, g.pitch_mm, g.rows, g.columns)
    over = np.ascontiguousarray(tops[1][:, ::-1])
    return (
        Envelope(g, tops[0], 0.0, 0.0, 0.0, float(tops[0].min())),
        Envelope(second, over, 0.0, 0.0, 0.0, float(over.min())),
    )


def slope_at(surface: Envelope, points: FloatArray) -> FloatArray:
    """Steepest rise over run of a surface within 6 mm of points (k, 2)."""
    turn = np.arange(8) * np.pi / 4
    around = points[:, None] + 6.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    middle = surface.at(points[:, 0], points[:, 1])
    gap = np.abs(surface.at(around[..., 0], around[..., 1]) - middle[:, None])
    return np.asarray(gap.max(axis=1) / 6.0)


def ground(surface: Envelope, tops: tuple[Envelope, Envelope], thickness_mm: float) -> Ground:
    """A stepped surface as the ground on which bolts, keys and slots stand."""

    def level(x: float, y: float) -> float:
        return float(surface.at(np.array(x), np.array(y)))

    def crest(x: float, y: float, radius: float) -> tuple[float, float]:
        z = level(x, y)
        found = []
        for sign, top in zip((1.0, -1.0), tops, strict=True):
            g = top.grid
            near = np.hypot(g.x_mm[None, :] - sign * x, g.y_mm[:, None] - y) <= radius + g.pitch_mm
            over = float(top.heights_mm[near].max()) - (sign * z + thickness_mm)
            found.append(over if over > 1e-3 else 0.0)
        return found[0], found[1]

    return Ground(level, crest)
