"""Heights of a triangulated envelope at any points: what a mesh of it truly holds."""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.triangulate import solid_under


@njit(cache=True, nogil=True)
def _drawn(vertices, faces, lowest, x, y, out):  # type: ignore[no-untyped-def]
    """Heights of upward triangles over a grid of points, into out (rows, columns)."""
    step_x, step_y = x[1] - x[0], y[1] - y[0]
    rows, columns = out.shape
    for f in range(len(faces)):
        ax, ay, az = vertices[faces[f, 0]]
        bx, by, bz = vertices[faces[f, 1]]
        cx, cy, cz = vertices[faces[f, 2]]
        twice = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if twice <= 0.0 or min(az, bz, cz) < lowest:
            continue
        i0 = max(int(np.ceil((min(ay, by, cy) - y[0]) / step_y - 1e-9)), 0)
        i1 = min(int(np.floor((max(ay, by, cy) - y[0]) / step_y + 1e-9)), rows - 1)
        j0 = max(int(np.ceil((min(ax, bx, cx) - x[0]) / step_x - 1e-9)), 0)
        j1 = min(int(np.floor((max(ax, bx, cx) - x[0]) / step_x + 1e-9)), columns - 1)
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                b = ((x[j] - ax) * (cy - ay) - (cx - ax) * (y[i] - ay)) / twice
                c = ((bx - ax) * (y[i] - ay) - (x[j] - ax) * (by - ay)) / twice
                if b >= -1e-9 and c >= -1e-9 and b + c <= 1.0 + 1e-9:
                    out[i, j] = az + b * (bz - az) + c * (cz - az)


def net_heights(
    envelope: Envelope, x_mm: FloatArray, y_mm: FloatArray, *, from_mm: float, tolerance_mm: float
) -> FloatArray:
    """Heights of an envelope's mesh over a grid of even steps, shape (len(y), len(x)) [mm]; from_mm where it is lower.

    tolerance_mm : of the mesh, as `solid_under` takes it.
    """
    vertices, faces = solid_under(envelope, from_mm=from_mm, tolerance_mm=tolerance_mm)
    out = np.full((len(y_mm), len(x_mm)), from_mm)
    _drawn(vertices, faces, from_mm - 1.0, x_mm, y_mm, out)
    return out
