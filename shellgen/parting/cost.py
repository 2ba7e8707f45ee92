"""What a parting plane costs: the rubber that fills undercuts, for every offset at once, and the sizes that follow.

D is the offset body, U and L its highest and lowest point per column along the pull. Both halves fill with rubber up
to the plane at offset c, so the rubber beyond D is F(c) = cell · [sum max(0, U − c) + sum max(0, c − L)] − volume(D):
convex and piecewise linear, its slope one step steeper at every value of U and L, so one sort gives every offset.
With drafted U and L the draft's own rubber is in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.columns import EMPTY, Columns

FLAT_SHARE = 2e-4  # of the body's volume: offsets whose fill differs by less are equal to a maker
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class FillCurve:
    """Fill over the plane's offset: offset_mm (k,) rising, fill_mm3 (k,) at these offsets, linear between them."""

    offset_mm: FloatArray
    fill_mm3: FloatArray

    def at(self, offset_mm: float) -> float:
        """Fill [mm³] at an offset between the body's lowest and highest point."""
        return float(np.interp(offset_mm, self.offset_mm, self.fill_mm3))


@dataclass(frozen=True, slots=True)
class BestOffset:
    """Where along one pull the plane costs least.

    offset_mm : chosen. fill_mm3 : there. interval_mm : offsets that cost the same within FLAT_SHARE of the volume.
    clear : False if no offset keeps out of the forbidden intervals (they are then ignored).
    """

    offset_mm: float
    fill_mm3: float
    interval_mm: Interval
    clear: bool


def span_mm(columns: Columns) -> Interval:
    """Lowest and highest point of the body along the pull."""
    return float(columns.lower_mm.min()), float(columns.upper_mm.max())


def fill_curve(columns: Columns) -> FillCurve:
    """F at every offset where its slope changes."""
    low, high = span_mm(columns)
    above = columns.drafted_upper_mm[columns.drafted_upper_mm > low]
    below = columns.drafted_lower_mm[columns.drafted_lower_mm < high]
    knots = np.concatenate([[low], np.sort(np.concatenate([above, below]))])
    slopes = np.arange(len(knots) - 1) - above.size
    fill = float(above.sum()) - above.size * low + np.concatenate([[0.0], np.cumsum(slopes * np.diff(knots))])
    return FillCurve(knots, fill * columns.cell_mm2 - columns.volume_mm3)


def fill_above(columns: Columns, parting_mm: FloatArray | float) -> tuple[float, float]:
    """Volumes [mm³] of the two halves filled to a parting: rubber and body above it, and below it.

    parting_mm : an offset, or heights (rows, columns) on the columns' raster.
    """
    up = np.maximum(0.0, columns.drafted_upper_mm - parting_mm).sum()
    down = np.maximum(0.0, parting_mm - columns.drafted_lower_mm).sum()
    return float(up) * columns.cell_mm2, float(down) * columns.cell_mm2


def fill_mm3(columns: Columns, parting_mm: FloatArray | float) -> float:
    """F: rubber beyond the offset body for a plane's offset, or for a parting surface (rows, columns)."""
    return sum(fill_above(columns, parting_mm)) - columns.volume_mm3


def free_fill_mm3(columns: Columns) -> float:
    """G: the fill that no parting surface along this pull avoids; 0 for convex bodies. Draft not counted."""
    shadow = columns.upper_mm > -EMPTY
    return float((columns.upper_mm - columns.lower_mm)[shadow].sum()) * columns.cell_mm2 - columns.volume_mm3


def best_offset(
    columns: Columns, *, within_mm: Interval | None = None, forbidden_mm: tuple[Interval, ...] = ()
) -> BestOffset:
    """Cheapest offset; among equals the one nearest the middle of the draw.

    within_mm : offsets allowed (where the plane meets the pattern). forbidden_mm : offsets whose seam would cross a
    place to be kept clear.
    """
    curve = fill_curve(columns)
    low, high = within_mm or span_mm(columns)
    ends = [e for pair in forbidden_mm for e in pair] + [low, high]
    offsets = np.unique(np.concatenate([curve.offset_mm, ends]))
    offsets = offsets[(offsets >= low) & (offsets <= high)]
    allowed = np.ones(len(offsets), bool)
    for start, stop in forbidden_mm:
        allowed &= (offsets <= start) | (offsets >= stop)
    clear = bool(allowed.any())
    if clear:
        offsets = offsets[allowed]
    fills = np.interp(offsets, curve.offset_mm, curve.fill_mm3)
    least = float(fills.min())
    same = offsets[fills <= least + FLAT_SHARE * columns.volume_mm3]
    middle = sum(span_mm(columns)) / 2
    chosen = float(same[np.argmin(np.abs(same - middle))])
    if same[0] < middle < same[-1] and not any(start < middle < stop for start, stop in forbidden_mm):
        chosen = float(middle)
    return BestOffset(chosen, curve.at(chosen), (float(same[0]), float(same[-1])), clear)


def flange_length_mm(columns: Columns, *, on_board: bool) -> float:
    """Length of the parting line round the body's shadow, holes counted: Crofton's count of crossings in four
    directions.

    (π/8) h (N0 + N90 + (N45 + N135)/√2). On a board the line along the board is not counted.
    """
    shadow = columns.upper_mm > -EMPTY
    padded = np.pad(shadow, ((0 if on_board else 1, 1), (1, 1)))
    across = np.count_nonzero(padded[:, 1:] != padded[:, :-1])
    up = np.count_nonzero(padded[1:] != padded[:-1])
    rising = np.count_nonzero(padded[1:, 1:] != padded[:-1, :-1])
    falling = np.count_nonzero(padded[1:, :-1] != padded[:-1, 1:])
    return float(np.pi / 8 * columns.grid.pitch_mm * (across + up + (rising + falling) / np.sqrt(2)))


def flange_area_mm2(columns: Columns, width_mm: float, *, on_board: bool) -> float:
    """Area of the strip of `width_mm` round the shadow, on one face of the parting; on a board what lies above it."""
    from scipy.ndimage import distance_transform_edt

    pad = int(np.ceil(width_mm / columns.grid.pitch_mm)) + 1
    shadow = np.pad(columns.upper_mm > -EMPTY, ((0 if on_board else pad, pad), (pad, pad)))
    away = distance_transform_edt(~shadow) - 0.5  # nodes to the edge, half a pitch beyond the shadow's last node
    return float(np.count_nonzero(~shadow & (away * columns.grid.pitch_mm <= width_mm))) * columns.cell_mm2


def projected_mm(columns: Columns, flange_mm: float, *, on_board: bool) -> Interval:
    """Smallest rectangle (longer, shorter side) that holds the shadow with a flange of `flange_mm` beyond it."""
    from shapely import MultiPoint, box

    rows, cols = np.nonzero(columns.upper_mm > -EMPTY)
    grid = columns.grid
    outline = MultiPoint(np.column_stack([grid.x_mm[cols], grid.y_mm[rows]])).convex_hull
    outline = outline.buffer(flange_mm + grid.pitch_mm / 2)
    if on_board:
        x0, _, x1, y1 = outline.bounds
        outline = outline.intersection(box(x0, 0.0, x1, y1))
    corners = np.array(outline.minimum_rotated_rectangle.exterior.coords)
    sides = sorted(np.hypot(*(corners[1:3] - corners[0:2]).T))
    return float(sides[1]), float(sides[0])


def draw_mm(columns: Columns, offset_mm: float) -> float:
    """Deepest half: from the plane to the farthest point of the body along the pull."""
    low, high = span_mm(columns)
    return max(high - offset_mm, offset_mm - low)


def balance(columns: Columns, offset_mm: float) -> float:
    """Smaller filled half over the larger one: 1 where they are equal."""
    smaller, larger = sorted(fill_above(columns, offset_mm))
    return smaller / larger if larger > 0 else 0.0
