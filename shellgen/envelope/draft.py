"""Draft: the smallest height field above a given one whose walls nowhere stand steeper than the draft angle allows.

H'(x) = max over y of H(y) - cot(angle) |x - y|, on the raster nodes, with straight (Euclidean) distance.
Only nodes that stand on a cliff can raise others, and a node that was itself raised cannot raise any further: its
cone lies inside the one that raised it. So cliffs draw their cones in falling order of height, each just as far as
the floor, and nothing else is touched.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray


@njit(cache=True, nogil=True)
def _cliffs(z, drop, floor):  # type: ignore[no-untyped-def]
    """Flat indices of the nodes that stand more than `drop` per step above one of their eight neighbours."""
    rows, columns = z.shape
    out = np.zeros(rows * columns, np.int64)
    count = 0
    for i in range(rows):
        for j in range(columns):
            v = z[i, j]
            if v <= floor:
                continue
            found = False
            for di in range(-1, 2):
                for dj in range(-1, 2):
                    k, l = i + di, j + dj
                    if (di != 0 or dj != 0) and 0 <= k < rows and 0 <= l < columns:
                        step = 1.4142135623730951 if di != 0 and dj != 0 else 1.0
                        if v - z[k, l] > 0.9 * drop * step:
                            found = True
            if found:
                out[count] = i * columns + j
                count += 1
    return out[:count]


@njit(cache=True, nogil=True)
def _cones(z, original, order, cot, h, floor):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    for n in range(len(order)):
        i, j = order[n] // columns, order[n] % columns
        v = original[i, j]
        if z[i, j] > v + 0.005:  # raised, so its cone lies inside another's
            continue
        radius = (v - floor) / (cot * h)
        reach = int(radius)
        for di in range(-reach, reach + 1):
            k = i + di
            if k < 0 or k >= rows:
                continue
            half = int(np.sqrt(radius * radius - di * di))
            j0, j1 = max(0, j - half), min(columns - 1, j + half)
            for l in range(j0, j1 + 1):
                w = v - cot * h * np.sqrt(float(di * di + (l - j) * (l - j)))
                if w > z[k, l]:
                    z[k, l] = w


def draft(heights_mm: FloatArray, pitch_mm: float, draft_deg: float, floor_mm: float) -> FloatArray:
    """Heights (rows, columns) [mm] with slopes of at most cot(draft), cones drawn down to the floor."""
    cot = 1.0 / np.tan(np.radians(draft_deg))
    found = _cliffs(heights_mm, cot * pitch_mm, floor_mm)
    order = found[np.argsort(-heights_mm.ravel()[found], kind="stable")]
    out = heights_mm.copy()
    _cones(out, heights_mm, order, cot, pitch_mm, floor_mm)
    return out
