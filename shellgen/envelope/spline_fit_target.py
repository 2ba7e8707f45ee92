"""What a spline graph is fitted to: a height field about the region it is needed in, with weights.

An envelope is needed where it lies above its trim, and run on below; other fields where they are said to be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.errors import KernelError

MARGIN_MM = 9.0  # how far the spline's rectangle runs past the region: four or five knot spans
TRUSTED_MM = 0.75  # wall outside the trim line that is fitted at full weight
FAINT = 1e-3  # weight of all that lies farther out: enough to keep the spline below the trim there
BEARING_MM = 2.0  # poles that bear on nothing higher than this under the level end at the depth below
SUNK_MM = 40.0  # the run-on ends this far below the level


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """Heights and weights over a window of a raster.

    x_mm (columns,), y_mm (rows,); heights_mm, weights, slope, needed (bool): (rows, columns). gradient : its parts
    along x and y, slope : its length. sunk_mm : height of poles that bear on nothing near the trim; bearing (bool) :
    what counts as near.
    """

    x_mm: FloatArray
    y_mm: FloatArray
    heights_mm: FloatArray
    weights: FloatArray
    slope: FloatArray
    gradient: tuple[FloatArray, FloatArray]
    needed: npt.NDArray[np.bool_]
    bearing: npt.NDArray[np.bool_]
    sunk_mm: float
    pitch_mm: float


Level = float | FloatArray
"""A height [mm], or one for each node of a raster."""


def target(envelope: Envelope, level_mm: Level, low_y_mm: float | None) -> Target:
    """The window of an envelope that a spline above `level_mm` (and above y = low_y_mm) needs.

    Raises KernelError if nothing of the envelope lies there.
    """
    from scipy.ndimage import distance_transform_edt

    g = envelope.grid
    low_y = -np.inf if low_y_mm is None else low_y_mm
    above = envelope.heights_mm > level_mm
    needed = above & (g.y_mm >= low_y)[:, None]
    if not needed.any():
        raise KernelError(f"nothing of an envelope lies {float(np.min(level_mm)):g} mm above the parting")
    rows, columns = np.flatnonzero(needed.any(axis=1)), np.flatnonzero(needed.any(axis=0))
    n = int(np.ceil(MARGIN_MM / g.pitch_mm))
    r0, r1 = max(rows[0] - n, 0), min(rows[-1] + n + 1, g.rows)
    c0, c1 = max(columns[0] - n, 0), min(columns[-1] + n + 1, g.columns)
    if low_y_mm is not None:  # the raster's lowest rows are floor, one crevice radius deep
        r0 = max(r0, int(np.ceil((envelope.crevice_mm + 2.0) / g.pitch_mm)))
    window = (slice(r0, r1), slice(c0, c1))
    z = envelope.heights_mm[window]
    level = np.broadcast_to(level_mm, envelope.heights_mm.shape)[window]
    cot = 1 / np.tan(np.radians(envelope.draft_deg))
    exact = z > envelope.floor_mm + envelope.crevice_mm + 0.5
    away, (i, j) = distance_transform_edt(~exact, return_indices=True)
    z = np.maximum(np.where(exact, z, z[i, j] - cot * g.pitch_mm * away), level - SUNK_MM)
    gy, gx = (np.asarray(d) for d in np.gradient(z, g.pitch_mm))
    slope = np.hypot(gx, gy)
    outside = distance_transform_edt(~above[window]) * g.pitch_mm
    near = outside <= TRUSTED_MM
    weights = np.where(near, 1.0, FAINT) / (1 + slope**2)
    return Target(
        g.x_mm[c0:c1],
        g.y_mm[r0:r1],
        z,
        weights,
        slope,
        (np.asarray(gx), np.asarray(gy)),
        needed[window],
        z > level - BEARING_MM,
        float(level.min()) - SUNK_MM,
        g.pitch_mm,
    )


def field_target(grid: Grid, heights_mm: FloatArray, needed: npt.NDArray[np.bool_]) -> Target:
    """The window of a height field that a spline over the needed nodes uses; the field goes on beyond them."""
    rows, columns = np.flatnonzero(needed.any(axis=1)), np.flatnonzero(needed.any(axis=0))
    n = int(np.ceil(MARGIN_MM / grid.pitch_mm))
    r0, r1 = max(rows[0] - n, 0), min(rows[-1] + n + 1, grid.rows)
    c0, c1 = max(columns[0] - n, 0), min(columns[-1] + n + 1, grid.columns)
    window = (slice(r0, r1), slice(c0, c1))
    z = heights_mm[window]
    gy, gx = (np.asarray(d) for d in np.gradient(z, grid.pitch_mm))
    slope = np.hypot(gx, gy)
    return Target(
        grid.x_mm[c0:c1],
        grid.y_mm[r0:r1],
        z,
        np.where(needed[window], 1.0, FAINT) / (1 + slope**2),
        slope,
        (gx, gy),
        needed[window],
        np.ones(z.shape, bool),
        float(z.min()),
        grid.pitch_mm,
    )
