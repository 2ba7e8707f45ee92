"""Triangulates a height field: a right-triangulated irregular network, no finer than a tolerance asks.

The square of 2^k + 1 nodes is halved along diagonals; a triangle is split where the surface leaves it by more than the
tolerance, measured square to the surface. Splits are shared by both neighbours, so the net has no gaps.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.pattern.pattern import IntArray


@njit(cache=True, nogil=True)
def _errors(z, size, h, unseen):  # type: ignore[no-untyped-def]
    """Greatest error under each node at which a triangle may be split, children included."""
    side = size - 1
    rows, columns = z.shape
    error = np.zeros((size, size), np.float32)
    smallest = side * side
    total = smallest * 2 - 2
    last_level = total - smallest
    for i in range(total - 1, -1, -1):
        number = i + 2
        ax = ay = bx = by = cx = cy = 0
        if number & 1:
            bx = by = cx = side
        else:
            ax = ay = cy = side
        number >>= 1
        while number > 1:
            mx, my = (ax + bx) >> 1, (ay + by) >> 1
            if number & 1:
                bx, by, ax, ay = ax, ay, cx, cy
            else:
                ax, ay, bx, by = bx, by, cx, cy
            cx, cy = mx, my
            number >>= 1
        mx, my = (ax + bx) >> 1, (ay + by) >> 1
        off = 0.0
        if min(ax, bx) < columns and min(ay, by) < rows:
            xa, ya = min(ax, columns - 1), min(ay, rows - 1)
            xb, yb = min(bx, columns - 1), min(by, rows - 1)
            xm, ym = min(mx, columns - 1), min(my, rows - 1)
            chord, v = 0.5 * (z[ya, xa] + z[yb, xb]), z[ym, xm]
            off = abs(chord - v)
            if max(chord, v) < unseen:
                off = 0.0
            if off > 0.0:  # square to the flatter side, where the surface bends
                left, right = v - z[ym, max(xm - 1, 0)], z[ym, min(xm + 1, columns - 1)] - v
                down, up = v - z[max(ym - 1, 0), xm], z[min(ym + 1, rows - 1), xm] - v
                gx, gy = min(abs(left), abs(right)) / h, min(abs(down), abs(up)) / h
                off /= np.sqrt(1.0 + gx * gx + gy * gy)
        worst = max(error[my, mx], np.float32(off))
        if i < last_level:
            worst = max(worst, error[(ay + cy) >> 1, (ax + cx) >> 1], error[(by + cy) >> 1, (bx + cx) >> 1])
        error[my, mx] = worst
    return error


@njit(cache=True, nogil=True)
def _net(error, tolerance):  # type: ignore[no-untyped-def]
    size = error.shape[0]
    side = size - 1
    index = np.full((size, size), -1, np.int32)
    nodes = []  # type: ignore[var-annotated]  # numba infers it
    triangles = []
    stack = [(0, 0, side, side, side, 0), (side, side, 0, 0, 0, side)]
    while len(stack) > 0:
        ax, ay, bx, by, cx, cy = stack.pop()
        mx, my = (ax + bx) >> 1, (ay + by) >> 1
        if abs(ax - cx) + abs(ay - cy) > 1 and error[my, mx] > tolerance:
            stack.append((cx, cy, ax, ay, mx, my))
            stack.append((bx, by, cx, cy, mx, my))
            continue
        for x, y in ((ax, ay), (bx, by), (cx, cy)):
            if index[y, x] < 0:
                index[y, x] = len(nodes)
                nodes.append((x, y))
        triangles.append((index[ay, ax], index[cy, cx], index[by, bx]))
    out_nodes = np.empty((len(nodes), 2), np.int32)
    for i in range(len(nodes)):
        out_nodes[i, 0], out_nodes[i, 1] = nodes[i]
    out = np.empty((len(triangles), 3), np.int32)
    for i in range(len(triangles)):
        out[i, 0], out[i, 1], out[i, 2] = triangles[i]
    return out_nodes, out


def solid_under(envelope: Envelope, *, from_mm: float, tolerance_mm: float) -> tuple[FloatArray, IntArray]:
    """Closed mesh of all that lies between `from_mm` and the envelope, over the whole raster square and beyond.

    Heights under `from_mm` are cut off there, and what lies less than 1.2 mm above it is not held to the tolerance; a
    slab 2 mm thick below it closes the solid. Returns vertices (n, 3) [mm]
    and faces (m, 3), outward.
    """
    g = envelope.grid
    z = np.maximum(envelope.heights_mm, from_mm)
    size = 2 ** int(np.ceil(np.log2(max(g.rows, g.columns) - 1))) + 1
    nodes, top = _net(_errors(z, size, g.pitch_mm, from_mm + 1.2), tolerance_mm)
    i, j = np.minimum(nodes[:, 1], g.rows - 1), np.minimum(nodes[:, 0], g.columns - 1)
    vertices = np.column_stack([g.x0_mm + g.pitch_mm * nodes[:, 0], g.y0_mm + g.pitch_mm * nodes[:, 1], z[i, j]])
    x, y = nodes[:, 0], nodes[:, 1]
    side = size - 1
    rim = np.concatenate(
        [
            _sorted_where(y == 0, x),
            _sorted_where(x == side, y)[1:],
            _sorted_where(y == side, -x)[1:],
            _sorted_where(x == 0, -y)[1:-1],
        ]
    )
    n, k = len(vertices), len(rim)
    below = vertices[rim].copy()
    below[:, 2] = from_mm - 2.0
    middle = np.array([[below[:, 0].mean(), below[:, 1].mean(), from_mm - 2.0]])
    a, b = np.arange(k), np.roll(np.arange(k), -1)
    walls = np.concatenate([np.column_stack([n + a, n + b, rim[b]]), np.column_stack([n + a, rim[b], rim[a]])])
    floor = np.column_stack([np.full(k, n + k), n + b, n + a])
    faces = np.concatenate([top, walls, floor]).astype(np.int32)
    return np.concatenate([vertices, below, middle]), faces


def _sorted_where(mask: npt.NDArray[np.bool_], by: IntArray) -> npt.NDArray[np.intp]:
    found = np.flatnonzero(mask)
    return found[np.argsort(by[found], kind="stable")]
