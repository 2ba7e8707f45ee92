"""Widens a height field sideways by less than a raster step.

Between nodes a silhouette is a chord: up to a quarter of a step inside the true curve. Shifting every wall outwards by a
third of a step keeps "at least" true there, and leaves what faces the pull as it is.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray

EIGHTH = 1 / np.cos(np.pi / 8)  # walls between two of the eight directions are shifted by no less than asked


@njit(cache=True, nogil=True)
def _widen(z, out, share):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    for i in range(rows):
        for j in range(columns):
            v = z[i, j]
            best = v
            for di in range(-1, 2):
                for dj in range(-1, 2):
                    k, l = i + di, j + dj
                    if (di != 0 or dj != 0) and 0 <= k < rows and 0 <= l < columns:
                        step = 1.4142135623730951 if di != 0 and dj != 0 else 1.0
                        w = v + share / step * (z[k, l] - v)
                        best = max(best, w)
            out[i, j] = best


def widened(heights_mm: FloatArray, pitch_mm: float, by_mm: float) -> FloatArray:
    """Heights (rows, columns) [mm] whose walls stand `by_mm` farther out; by_mm at most 0.9 of the pitch."""
    out = np.empty_like(heights_mm)
    _widen(heights_mm, out, by_mm * EIGHTH / pitch_mm)
    return out
