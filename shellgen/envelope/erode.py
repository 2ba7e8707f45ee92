"""Erosion by the drafted ball: the step that turns grown by r + R into grown by r with crevices under R filled."""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray


@njit(cache=True, nogil=True, fastmath=True)
def _erode(z, out, di, dj, fall, floor, deepest):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    pad = 0
    for n in range(len(di)):
        pad = max(pad, abs(di[n]), abs(dj[n]))
    for i in range(pad, rows - pad):
        first, last = columns, -1  # what the middle of the ball takes down to the floor is done with
        for j in range(pad, columns - pad):
            if z[i, j] - deepest > floor:
                first, last = min(first, j), j
        if last < first:
            continue
        row = out[i, first : last + 1]
        row[:] = np.inf
        for n in range(len(di)):
            near = z[i + di[n], first + dj[n] : last + 1 + dj[n]]
            f = fall[n]
            for j in range(len(row)):  # without branches: several nodes at a time
                v = near[j] - f
                row[j] = v if v < row[j] else row[j]
        for j in range(len(row)):
            row[j] = max(row[j], floor)


def erode(heights_mm: FloatArray, pitch_mm: float, radius_mm: float, draft_deg: float, floor_mm: float) -> FloatArray:
    """Heights eroded by a ball of `radius_mm`, drafted like the one of `splat`; never below the floor.

    The rim of the raster, one radius wide, becomes floor: pad the raster accordingly.
    """
    a = np.radians(draft_deg)
    skirt = radius_mm * np.cos(a) + 1.5 * pitch_mm
    n = int(skirt / pitch_mm)
    d = np.arange(-n, n + 1)
    rho = pitch_mm * np.hypot(d[:, None], d[None, :])
    with np.errstate(invalid="ignore"):
        ball = np.where(
            rho <= radius_mm * np.cos(a),
            np.sqrt(np.maximum(radius_mm**2 - rho**2, 0.0)),
            radius_mm / np.sin(a) - rho / np.tan(a),
        )
    i, j = np.nonzero(rho <= skirt)
    out = np.full_like(heights_mm, floor_mm)
    _erode(heights_mm, out, d[i], d[j], ball[i, j], floor_mm, radius_mm)
    return out
