"""The compiled loop of the depth buffers."""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

EDGE = 1e-9  # lines that hit an edge count for both triangles, so that no crack opens between them


@njit(cache=True, nogil=True)
def rasterise(points: FloatArray, faces: IntArray, low: FloatArray, high: FloatArray) -> None:
    """Draw triangles into both buffers, in place; x and y of the points in raster steps."""
    rows, columns = low.shape
    for f in range(faces.shape[0]):
        ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = points[ia, 0], points[ia, 1], points[ia, 2]
        ux, uy, uz = points[ib, 0] - ax, points[ib, 1] - ay, points[ib, 2] - az
        vx, vy, vz = points[ic, 0] - ax, points[ic, 1] - ay, points[ic, 2] - az
        area = ux * vy - uy * vx
        if abs(area) < 1e-14:
            continue
        left = max(0, int(np.ceil(ax + min(0.0, ux, vx) - EDGE)))
        right = min(columns - 1, int(np.floor(ax + max(0.0, ux, vx) + EDGE)))
        first = max(0, int(np.ceil(ay + min(0.0, uy, vy) - EDGE)))
        last = min(rows - 1, int(np.floor(ay + max(0.0, uy, vy) + EDGE)))
        for i in range(first, last + 1):
            for j in range(left, right + 1):
                x, y = j - ax, i - ay
                s = (x * vy - y * vx) / area
                t = (ux * y - uy * x) / area
                if s >= -EDGE and t >= -EDGE and s + t <= 1.0 + EDGE:
                    z = az + s * uz + t * vz
                    if z < low[i, j]:
                        low[i, j] = z
                    if z > high[i, j]:
                        high[i, j] = z
