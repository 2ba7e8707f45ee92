"""The stepped parting surface: the clay wall that climbs and falls with the pattern's widest line.

Any surface P with L <= P <= U over the shadow costs no fill beyond what the pull itself costs. With slopes up to k, L
is raised and U lowered to the nearest fields that keep the slope; P is the middle one of these two and the plane.
Where they cross, P lies between them and some fill stays; whole patches that cost more than the plane are taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray, Grid
from shellgen.parting.columns import EMPTY, Columns, cone_envelope
from shellgen.parting.cost import fill_mm3

SLOPE_LIMIT_DEG = 60.0
TERRACE_STEEPER = 1.2  # slope beside a terrace over the slope limit; more where two terraces stand close
SHARES = (0.5, 0.0, 1.0, 0.25, 0.75)  # of the raised lower field, where it crosses the lowered upper field
Seat = tuple[float, float, float]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A stepped surface and what it costs.

    heights_mm : (rows, columns) on the columns' raster. fill_mm3, plane_fill_mm3 : rubber beyond the offset body with
    it and with the plane. steepest_deg : steepest slope, terraces included. stepped : False where the plane was kept.
    """

    heights_mm: FloatArray
    fill_mm3: float
    plane_fill_mm3: float
    steepest_deg: float
    stepped: bool


def _better(
    heights: FloatArray, other: FloatArray, lower: FloatArray, upper: FloatArray, shadow: BoolArray
) -> FloatArray:
    """`heights`, with every connected patch taken from `other` where that patch costs less fill.

    Both keep the slope limit and agree on the rim of a patch, so the result keeps it too.
    """
    from scipy.ndimage import label
    from scipy.ndimage import sum as sums

    def column_cost(parting: FloatArray) -> FloatArray:
        return np.where(shadow, np.maximum(0.0, upper - parting) + np.maximum(0.0, parting - lower), 0.0)

    patches, count = label(np.abs(heights - other) > 1e-9)
    gains = np.asarray(sums(column_cost(heights) - column_cost(other), patches, np.arange(1, count + 1)))
    return np.where(np.concatenate([[False], gains > 0])[patches], other, heights)


def _along_silhouette(lower: FloatArray, upper: FloatArray, level: float, slope: float) -> FloatArray:
    """The cheapest patchwork of the plane and of surfaces between the raised lower and the lowered upper field.

    slope : per node. Where the two fields cross, several shares between them are tried.
    """
    shadow = (lower <= upper) & (np.abs(lower) < EMPTY / 2) & (np.abs(upper) < EMPTY / 2)
    raised = cone_envelope(np.where(shadow, lower, -EMPTY), slope)
    lowered = -cone_envelope(np.where(shadow, -upper, -EMPTY), slope)
    between = np.clip(level, raised, np.maximum(raised, lowered))
    heights = np.full(lower.shape, level)
    for share in SHARES:
        mixed = share * raised + (1 - share) * lowered
        heights = _better(heights, np.where(raised > lowered, mixed, between), lower, upper, shadow)
    return heights


def _carried_out(heights: FloatArray, shadow: BoolArray, level: float, slope: float, collar: float) -> FloatArray:
    """The surface with its rim carried level outwards over a collar, beyond which it falls back to the plane.

    slope : per node; collar : in nodes. So the flange stands square to the wall instead of cutting it to a sharp edge.
    Over the shadow nothing changes; between rims of different heights the slope limit decides.
    """
    from scipy.ndimage import distance_transform_edt

    if not shadow.any():
        return heights
    away, (i, j) = distance_transform_edt(~shadow, return_indices=True)
    rise = heights[i, j] - level
    left = np.maximum(np.abs(rise) - slope * np.maximum(away - collar, 0.0), 0.0)
    wish = level + np.sign(rise) * left
    wish = 0.5 * (cone_envelope(wish, slope) - cone_envelope(-wish, slope))
    least = cone_envelope(np.where(shadow, heights, -EMPTY), slope)
    most = -cone_envelope(np.where(shadow, -heights, -EMPTY), slope)
    return np.clip(wish, least, most)


def with_terraces(heights: FloatArray, grid: Grid, seats: Sequence[Seat], slope: float) -> FloatArray:
    """Flat discs at the seats, each at its mean height, and the surface held within cones that stand on their rims.

    heights : (rows, columns) over `grid`. seats : (x, y, radius). slope : limit of the surface, rise over run.
    """
    if not seats:
        return heights
    x, y = grid.x_mm[None, :], grid.y_mm[:, None]
    centres = np.array([s[:2] for s in seats])
    radii = np.array([s[2] for s in seats])
    levels, away = np.empty(len(seats)), []
    for n, (cx, cy, radius) in enumerate(seats):
        distance = np.hypot(x - cx, y - cy)
        disc = distance <= max(radius, grid.pitch_mm)
        levels[n] = heights[disc].mean() if disc.any() else heights.flat[np.argmin(distance)]
        away.append(np.maximum(0.0, distance - radius))
    steep = TERRACE_STEEPER * slope
    gap = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1)) - radii[:, None] - radii[None]
    apart = gap > 0
    steep = max(steep, float((np.abs(levels[:, None] - levels[None])[apart] / gap[apart]).max(initial=0.0)))
    floor = np.max([z - steep * d for z, d in zip(levels, away, strict=True)], axis=0)
    ceiling = np.min([z + steep * d for z, d in zip(levels, away, strict=True)], axis=0)
    return np.clip(heights, floor, np.maximum(floor, ceiling))


def stepped_surface(
    lower: FloatArray,
    upper: FloatArray,
    grid: Grid,
    *,
    level_mm: float,
    slope: float = 1.0,
    smooth_mm: float = 2.0,
    seats: Sequence[Seat] = (),
    collar_mm: float = 0.0,
) -> FloatArray:
    """Heights (rows, columns) of the stepped parting.

    lower, upper : (rows, columns) lowest and highest point of the offset body per column; a column with lower > upper
    (or infinite) is outside the shadow. level_mm : the plane's offset. slope : steepest rise over run (1 is 45
    degrees). smooth_mm : width of the smoothing. seats : (x, y, radius) of flat terraces for bolts, in the raster's
    plan. collar_mm : how far beyond the shadow the surface stays at the height of its rim.
    """
    from scipy.ndimage import gaussian_filter

    heights = _along_silhouette(lower, upper, level_mm, slope * grid.pitch_mm)
    if collar_mm > 0:
        shadow = (lower <= upper) & (np.abs(lower) < EMPTY / 2) & (np.abs(upper) < EMPTY / 2)
        heights = _carried_out(heights, shadow, level_mm, slope * grid.pitch_mm, collar_mm / grid.pitch_mm)
    if smooth_mm > 0:
        heights = gaussian_filter(heights, smooth_mm / (2 * grid.pitch_mm), mode="nearest")
    return with_terraces(heights, grid, seats, slope)


def steepest_deg(heights: FloatArray, grid: Grid) -> float:
    """Steepest slope in the middle of a cell of the raster [degrees]."""
    rise_x = (heights[1:, 1:] - heights[1:, :-1] + heights[:-1, 1:] - heights[:-1, :-1]) / 2
    rise_y = (heights[1:, 1:] - heights[:-1, 1:] + heights[1:, :-1] - heights[:-1, :-1]) / 2
    return float(np.degrees(np.arctan(np.sqrt((rise_x**2 + rise_y**2).max(initial=0.0)) / grid.pitch_mm)))


def step_along(
    columns: Columns, *, level_mm: float, slope: float = 1.0, smooth_mm: float = 2.0, seats: Sequence[Seat] = ()
) -> Step:
    """The stepped surface over given columns, with its fill on the final surface; the plane where that is not dearer.

    Arguments as for `stepped_surface`. Too steep a surface (over 60 degrees, terraces included) is given up as well.
    """
    plane = fill_mm3(columns, level_mm)
    heights = stepped_surface(
        columns.lower_mm,
        columns.upper_mm,
        columns.grid,
        level_mm=level_mm,
        slope=slope,
        smooth_mm=smooth_mm,
        seats=seats,
    )
    fill = fill_mm3(columns, heights)
    steepest = steepest_deg(heights, columns.grid)
    if fill >= plane or steepest > SLOPE_LIMIT_DEG:
        return Step(np.full(heights.shape, level_mm), plane, plane, 0.0, False)
    return Step(heights, fill, plane, steepest, True)
