"""Triangles sorted into the cells of a cubic grid: which cells a surface passes, and its nearest point to any place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from shellgen.pattern.pattern import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """A mesh in cells. Cell (i, j, k) spans origin_mm + (i, j, k) * cell_mm to the next; i runs along x.

    starts : (cells + 1,), items : triangles of cell c are items[starts[c]:starts[c + 1]]; c = (i * ny + j) * nz + k.
    """

    vertices: FloatArray
    faces: IntArray
    origin_mm: FloatArray
    cell_mm: float
    shape: tuple[int, int, int]
    starts: IntArray
    items: IntArray

    def occupied(self) -> npt.NDArray[np.bool_]:
        """(nx, ny, nz): cells that the surface passes."""
        return (np.diff(self.starts) > 0).reshape(self.shape)

    def nearest(self, points: FloatArray, reach: int) -> tuple[FloatArray, FloatArray]:
        """Nearest points on the mesh, (n, 3), and distances, (n,); infinite beyond about `reach` cells."""
        span = np.arange(-reach, reach + 1)
        steps = np.stack(np.meshgrid(span, span, span, indexing="ij"), axis=-1).reshape(-1, 3)
        steps = steps[np.argsort((steps**2).sum(axis=1), kind="stable")]
        return _nearest(
            np.ascontiguousarray(points, np.float64), self.vertices, self.faces, self.origin_mm, self.cell_mm,
            np.array(self.shape), self.starts, self.items, steps,
        )  # fmt: skip


@njit(cache=True, nogil=True)
def _sort_in(vertices, faces, origin, cell, shape, starts, items, fill):  # type: ignore[no-untyped-def]
    """Count triangles per cell in starts[c + 1], or with `fill` write them at starts[c], moving it on.

    A cell counts as passed if the triangle, seen along its main axis, overlaps the cell's square there, and its plane
    the cell's height: never fewer cells than the triangle meets.
    """
    p = np.empty((3, 3))
    half, slack = 0.5, 1e-6
    for f in range(len(faces)):
        for k in range(3):
            for a in range(3):
                p[k, a] = (vertices[faces[f, k], a] - origin[a]) / cell
        nx = (p[1, 1] - p[0, 1]) * (p[2, 2] - p[0, 2]) - (p[1, 2] - p[0, 2]) * (p[2, 1] - p[0, 1])
        ny = (p[1, 2] - p[0, 2]) * (p[2, 0] - p[0, 0]) - (p[1, 0] - p[0, 0]) * (p[2, 2] - p[0, 2])
        nz = (p[1, 0] - p[0, 0]) * (p[2, 1] - p[0, 1]) - (p[1, 1] - p[0, 1]) * (p[2, 0] - p[0, 0])
        w = 0 if abs(nx) >= abs(ny) and abs(nx) >= abs(nz) else (1 if abs(ny) >= abs(nz) else 2)
        u, v = (w + 1) % 3, (w + 2) % 3
        nw = nx if w == 0 else (ny if w == 1 else nz)
        nu = ny if w == 0 else (nz if w == 1 else nx)
        nv = nz if w == 0 else (nx if w == 1 else ny)
        turn = 1.0 if nw >= 0 else -1.0
        wl, wh = min(p[0, w], p[1, w], p[2, w]), max(p[0, w], p[1, w], p[2, w])
        ul, uh = min(p[0, u], p[1, u], p[2, u]), max(p[0, u], p[1, u], p[2, u])
        vl, vh = min(p[0, v], p[1, v], p[2, v]), max(p[0, v], p[1, v], p[2, v])
        for i in range(max(int(ul - slack), 0), min(int(uh + slack), shape[u] - 1) + 1):
            for j in range(max(int(vl - slack), 0), min(int(vh + slack), shape[v] - 1) + 1):
                cu, cv = i + half, j + half
                out = False
                for k in range(3):
                    eu, ev = p[(k + 1) % 3, u] - p[k, u], p[(k + 1) % 3, v] - p[k, v]
                    side = turn * (eu * (cv - p[k, v]) - ev * (cu - p[k, u]))
                    if side + half * (abs(eu) + abs(ev)) < -slack:
                        out = True
                        break
                if out:
                    continue
                lo, hi = wl, wh
                if abs(nw) > 1e-12:
                    middle = p[0, w] - (nu * (cu - p[0, u]) + nv * (cv - p[0, v])) / nw
                    spread = half * (abs(nu) + abs(nv)) / abs(nw)
                    lo, hi = max(wl, middle - spread), min(wh, middle + spread)
                for k in range(max(int(lo - slack), 0), min(int(hi + slack), shape[w] - 1) + 1):
                    x = i if u == 0 else (j if v == 0 else k)
                    y = i if u == 1 else (j if v == 1 else k)
                    z = i if u == 2 else (j if v == 2 else k)
                    c = (x * shape[1] + y) * shape[2] + z
                    if fill:
                        items[starts[c]] = f
                        starts[c] += 1
                    else:
                        starts[c + 1] += 1


def sorted_into_cells(
    vertices: FloatArray, faces: IntArray, origin_mm: FloatArray, cell_mm: float, shape: tuple[int, int, int]
) -> Cells:
    """Sort triangles into cells; what lies outside the grid is left out."""
    cells = int(np.prod(shape))
    starts = np.zeros(cells + 1, np.int32)
    size = np.array(shape)
    _sort_in(vertices, faces, origin_mm, cell_mm, size, starts, np.empty(0, np.int32), False)
    np.cumsum(starts, out=starts)
    items = np.empty(int(starts[-1]), np.int32)
    moving = starts[:-1].copy()
    _sort_in(vertices, faces, origin_mm, cell_mm, size, moving, items, True)
    return Cells(vertices, faces, origin_mm, cell_mm, shape, starts, items)


@njit(cache=True, nogil=True)
def _on_triangle(q, a, b, c):  # type: ignore[no-untyped-def]
    """Nearest point of a triangle: weights of a, b, c (by the regions that its corners, edges and face own)."""
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    px, py, pz = q[0] - a[0], q[1] - a[1], q[2] - a[2]
    uu, uv, vv = ux * ux + uy * uy + uz * uz, ux * vx + uy * vy + uz * vz, vx * vx + vy * vy + vz * vz
    pu, pv = px * ux + py * uy + pz * uz, px * vx + py * vy + pz * vz
    det = uu * vv - uv * uv
    if det > 1e-14 * uu * vv:
        s, t = (vv * pu - uv * pv) / det, (uu * pv - uv * pu) / det
        if s >= 0 and t >= 0 and s + t <= 1:
            return 1 - s - t, s, t
    best, wa, wb, wc = np.inf, 1.0, 0.0, 0.0
    pp = px * px + py * py + pz * pz
    s = min(max(pu / uu, 0.0), 1.0) if uu > 0 else 0.0
    d = pp - 2 * s * pu + s * s * uu
    if d < best:
        best, wa, wb, wc = d, 1 - s, s, 0.0
    t = min(max(pv / vv, 0.0), 1.0) if vv > 0 else 0.0
    d = pp - 2 * t * pv + t * t * vv
    if d < best:
        best, wa, wb, wc = d, 1 - t, 0.0, t
    ee = uu - 2 * uv + vv
    r = min(max((pv - pu + uu - uv) / ee, 0.0), 1.0) if ee > 0 else 0.0  # from b towards c
    x, y, z = px - ux - r * (vx - ux), py - uy - r * (vy - uy), pz - uz - r * (vz - uz)
    if x * x + y * y + z * z < best:
        wa, wb, wc = 0.0, 1 - r, r
    return wa, wb, wc


@njit(cache=True, nogil=True)
def _nearest(points, vertices, faces, origin, cell, shape, starts, items, steps):  # type: ignore[no-untyped-def]
    n = len(points)
    found, distance = points.copy(), np.full(n, np.inf)
    for i in range(n):
        q = points[i]
        x, y, z = (q[0] - origin[0]) / cell, (q[1] - origin[1]) / cell, (q[2] - origin[2]) / cell
        ix, iy, iz = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
        best = np.inf
        for s in range(len(steps)):
            jx, jy, jz = ix + steps[s, 0], iy + steps[s, 1], iz + steps[s, 2]
            if jx < 0 or jy < 0 or jz < 0 or jx >= shape[0] or jy >= shape[1] or jz >= shape[2]:
                continue
            c = (jx * shape[1] + jy) * shape[2] + jz
            if starts[c] == starts[c + 1]:
                continue
            gx, gy, gz = max(jx - x, x - jx - 1, 0.0), max(jy - y, y - jy - 1, 0.0), max(jz - z, z - jz - 1, 0.0)
            if (gx * gx + gy * gy + gz * gz) * cell * cell >= best:
                continue
            for k in range(starts[c], starts[c + 1]):
                f = items[k]
                a, b, d = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
                wa, wb, wc = _on_triangle(q, a, b, d)
                px = wa * a[0] + wb * b[0] + wc * d[0]
                py = wa * a[1] + wb * b[1] + wc * d[1]
                pz = wa * a[2] + wb * b[2] + wc * d[2]
                gap = (px - q[0]) ** 2 + (py - q[1]) ** 2 + (pz - q[2]) ** 2
                if gap < best:
                    best = gap
                    found[i, 0], found[i, 1], found[i, 2] = px, py, pz
        distance[i] = np.sqrt(best)
    return found, distance
