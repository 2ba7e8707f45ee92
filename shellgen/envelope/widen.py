"""Raises a raster where the surface bulges over the chords between its nodes.

Between nodes a raster is a chord. Near a silhouette the true curve stands up to a quarter of a step outside it, along a
diagonal h sqrt(2) / 4, for any radius; where the surface faces the pull it is next to nothing. Each node is raised by
what its own bending asks for, and by no more than a wall set out by CAP of a step would be.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray

CAP = 0.45  # of a step: h sqrt(2) / 4 along a diagonal, and what bilinear cells lack; tried on balls of 6 to 24 steps
BEND = 0.6  # of the second difference: a circle's last chord before its silhouette stands 0.35 of it short


@njit(cache=True, nogil=True)
def _widen(z, out, cap, bend):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    for i in range(rows):
        for j in range(columns):
            v = z[i, j]
            uphill, bent = 0.0, 0.0
            for di in range(-1, 2):
                for dj in range(-1, 2):
                    k, l, m, n = i + di, j + dj, i - di, j - dj
                    if (di != 0 or dj != 0) and 0 <= k < rows and 0 <= l < columns:
                        step = 1.4142135623730951 if di != 0 and dj != 0 else 1.0
                        uphill = max(uphill, (z[k, l] - v) / step)
                        if 0 <= m < rows and 0 <= n < columns:
                            bent = max(bent, 2.0 * v - z[k, l] - z[m, n])
            out[i, j] = v + min(cap * uphill, bend * bent)


def widened(heights_mm: FloatArray) -> FloatArray:
    """Heights (rows, columns) [mm] whose chords lie outside the surface that the nodes were taken from."""
    out = np.empty_like(heights_mm)
    _widen(heights_mm, out, CAP, BEND)
    return out
