"""Erosion by the drafted ball: the step that turns grown by r + R into grown by r with crevices under R filled."""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray


@njit(cache=True, nogil=True, fastmath=True)
def _erode(z, out, di, dj, fall, floor):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    pad = 0
    for n in range(len(di)):
        pad = max(pad, abs(di[n]), abs(dj[n]))
    for i in range(rows):
        for n in range(len(di)):
            k = i + di[n]
            f = fall[n]
            d = dj[n]
            if k < 0 or k >= rows:
                for j in range(columns):
                    out[i, j] = floor
                continue
            j0, j1 = max(0, -d), min(columns, columns - d)
            for j in range(j0, j1):
                v = z[k, j + d] - f
                if v < out[i, j]:
                    out[i, j] = v
    for i in range(rows):
        for j in range(columns):
            if i < pad or j < pad or i >= rows - pad or j >= columns - pad or out[i, j] < floor:
                out[i, j] = floor


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
    out = np.full_like(heights_mm, np.inf)
    _erode(heights_mm, out, d[i], d[j], ball[i, j], floor_mm)
    return out
