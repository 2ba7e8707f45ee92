"""Triangulates a height field: a right-triangulated irregular network, no finer than a tolerance asks.

The raster is laid out in squares of TILE cells. Each is halved along its diagonal, then along its sides, and so on; a
triangle is split where the surface leaves it by more than the tolerance, measured square to the surface. Splits are
shared by both neighbours, across squares too, so the net has no gaps.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from numba import njit

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.pattern.pattern import IntArray

TILE = 64  # cells along a square, a power of two


@lru_cache(maxsize=1)
def _halvings() -> IntArray:
    """(2 * TILE**2 - 2, 6) corners a, b, c of every triangle of a square that can be split, the largest first.

    a and b end the long side, whose middle is the node at which it is split; columns ax, ay, bx, by, cx, cy.
    """
    level = [(0, 0, TILE, TILE, TILE, 0), (TILE, TILE, 0, 0, 0, TILE)]
    found = []
    while abs(level[0][0] - level[0][4]) + abs(level[0][1] - level[0][5]) > 1:
        found += level
        level = [
            half
            for ax, ay, bx, by, cx, cy in level
            for half in (
                (cx, cy, ax, ay, (ax + bx) // 2, (ay + by) // 2),
                (bx, by, cx, cy, (ax + bx) // 2, (ay + by) // 2),
            )
        ]
    return np.array(found, np.int32)


@njit(cache=True, nogil=True)
def _errors(z, halvings, tile, down, across, h, unseen):  # type: ignore[no-untyped-def]
    """Greatest error under each node at which a triangle may be split, children included."""
    rows, columns = z.shape
    error = np.zeros((down * tile + 1, across * tile + 1), np.float32)
    end = len(halvings)
    last = True
    while end > 0:  # the smallest triangles first, all squares of one size before the next
        start = (end - 2) // 2 if end > 2 else 0
        for square in range(down * across):
            y0, x0 = (square // across) * tile, (square % across) * tile
            for i in range(start, end):
                ax, ay, bx, by = halvings[i, 0] + x0, halvings[i, 1] + y0, halvings[i, 2] + x0, halvings[i, 3] + y0
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
                        below, above = v - z[max(ym - 1, 0), xm], z[min(ym + 1, rows - 1), xm] - v
                        gx, gy = min(abs(left), abs(right)) / h, min(abs(below), abs(above)) / h
                        off /= np.sqrt(1.0 + gx * gx + gy * gy)
                worst = max(error[my, mx], np.float32(off))
                if not last:
                    cx, cy = halvings[i, 4] + x0, halvings[i, 5] + y0
                    worst = max(worst, error[(ay + cy) >> 1, (ax + cx) >> 1], error[(by + cy) >> 1, (bx + cx) >> 1])
                error[my, mx] = worst
        end, last = start, False
    return error


@njit(cache=True, nogil=True)
def _net(error, tile, tolerance):  # type: ignore[no-untyped-def]
    index = np.full(error.shape, -1, np.int32)
    nodes = []  # type: ignore[var-annotated]  # numba infers it
    triangles = []
    for y0 in range(0, error.shape[0] - 1, tile):
        for x0 in range(0, error.shape[1] - 1, tile):
            y1, x1 = y0 + tile, x0 + tile
            stack = [(x0, y0, x1, y1, x1, y0), (x1, y1, x0, y0, x0, y1)]
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
    """Closed mesh of all that lies between `from_mm` and the envelope, over the whole raster and a little beyond.

    Heights under `from_mm` are cut off there, and what lies less than 1.2 mm above it is not held to the tolerance; a
    slab 2 mm thick below it closes the solid. Returns vertices (n, 3) [mm]
    and faces (m, 3), outward.
    """
    g = envelope.grid
    z = np.maximum(envelope.heights_mm, from_mm)
    down, across = (int(np.ceil((n - 1) / TILE)) for n in (g.rows, g.columns))
    nodes, top = _net(_errors(z, _halvings(), TILE, down, across, g.pitch_mm, from_mm + 1.2), TILE, tolerance_mm)
    i, j = np.minimum(nodes[:, 1], g.rows - 1), np.minimum(nodes[:, 0], g.columns - 1)
    vertices = np.column_stack([g.x0_mm + g.pitch_mm * nodes[:, 0], g.y0_mm + g.pitch_mm * nodes[:, 1], z[i, j]])
    x, y = nodes[:, 0], nodes[:, 1]
    rim = np.concatenate(
        [
            _sorted_where(y == 0, x),
            _sorted_where(x == TILE * across, y)[1:],
            _sorted_where(y == TILE * down, -x)[1:],
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
