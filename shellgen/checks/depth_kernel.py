"""The compiled loop of the depth buffers."""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

EDGE = 1e-9  # lines that hit an edge count for both triangles, so that no crack opens between them


@njit(cache=True, nogil=True)
def rasterise(points: FloatArray, faces: IntArray, sign: float, nearest: FloatArray) -> None:
    """Keep the greatest sign · z of the faces that look along sign · z, in place; x and y in raster steps.

    The first and the last that a line meets of a closed mesh are faces that look against it and along it.
    """
    rows, columns = nearest.shape
    for f in range(faces.shape[0]):
        ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = points[ia, 0], points[ia, 1], sign * points[ia, 2]
        ux, uy, uz = points[ib, 0] - ax, points[ib, 1] - ay, sign * points[ib, 2] - az
        vx, vy, vz = points[ic, 0] - ax, points[ic, 1] - ay, sign * points[ic, 2] - az
        area = ux * vy - uy * vx
        if sign * area < 1e-14:
            continue
        left = max(0, int(np.ceil(ax + min(0.0, ux, vx) - EDGE)))
        right = min(columns - 1, int(np.floor(ax + max(0.0, ux, vx) + EDGE)))
        first = max(0, int(np.ceil(ay + min(0.0, uy, vy) - EDGE)))
        last = min(rows - 1, int(np.floor(ay + max(0.0, uy, vy) + EDGE)))
        if left > right:
            continue
        over = 1.0 / area
        s_x, s_y, t_x, t_y = vy * over, -vx * over, -uy * over, ux * over
        for i in range(first, last + 1):
            y = i - ay
            s_row, t_row = y * s_y, y * t_y
            for j in range(left, right + 1):
                x = j - ax
                s, t = s_row + x * s_x, t_row + x * t_x
                if s >= -EDGE and t >= -EDGE and s + t <= 1.0 + EDGE:
                    z = az + s * uz + t * vz
                    if z > nearest[i, j]:
                        nearest[i, j] = z
