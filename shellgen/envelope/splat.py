"""Draws mesh + ball into a raster: upper heights of the pattern grown by a radius, drafted at the silhouette.

The ball's profile seen from above is sqrt(r^2 - rho^2), and beyond rho = r cos(a) the tangent cone of the draft angle a
for 1.5 raster steps more, so that silhouettes do not snap to raster nodes.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from shellgen.envelope.facets import Facets, short_mm
from shellgen.envelope.raster import FloatArray, Grid

NEAREST = 0.578  # no point of a triangle is farther from its nearest corner than that share of its longest edge


@njit(cache=True, nogil=True)
def _patch(z, x0, y0, h, px, py, pz, cx, cy, radius, r, cosine, top, cot, skirt):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    i0 = max(0, int(np.ceil((cy - radius - y0) / h)))
    i1 = min(rows - 1, int(np.floor((cy + radius - y0) / h)))
    round2 = (r * cosine) ** 2
    for i in range(i0, i1 + 1):
        y = y0 + i * h
        half2 = radius * radius - (y - cy) ** 2
        if half2 < 0.0:
            continue
        half = np.sqrt(half2)
        j0 = max(0, int(np.ceil((cx - half - x0) / h)))
        j1 = min(columns - 1, int(np.floor((cx + half - x0) / h)))
        dy2 = (y - py) ** 2
        far = max(abs(x0 + j0 * h - px), abs(x0 + j1 * h - px))
        if dy2 + far * far <= round2:  # on the ball throughout: a loop without branches is drawn four nodes at a time
            row, rest2, dx = z[i, j0 : j1 + 1], r * r - dy2, x0 + j0 * h - px
            for k in range(len(row)):
                x = dx + k * h
                v = pz + np.sqrt(rest2 - x * x)
                row[k] = v if v > row[k] else row[k]
            continue
        for j in range(j0, j1 + 1):
            d2 = dy2 + (x0 + j * h - px) ** 2
            if d2 <= round2:
                v = pz + np.sqrt(r * r - d2)
            elif d2 <= skirt * skirt:
                v = pz + top - cot * np.sqrt(d2)
            else:
                continue
            if v > z[i, j]:
                z[i, j] = v


@njit(cache=True, nogil=True)
def _spheres(z, x0, y0, h, points, normals, window, reach, short, r, draft, floor):  # type: ignore[no-untyped-def]
    cosine, cot = np.cos(draft), 1.0 / np.tan(draft)
    top, skirt = r / np.sin(draft), r * np.cos(draft) + 1.5 * h
    for v in range(len(points)):
        px, py, pz = points[v, 0], points[v, 1], points[v, 2]
        if pz + r <= floor:
            continue
        if window[v] > 3.0:
            _patch(z, x0, y0, h, px, py, pz, px, py, skirt, r, cosine, top, cot, skirt)
            continue
        wide = window[v] + 0.03
        radius = 2.0 * r * np.sin(0.5 * wide) + NEAREST * min(reach[v], short) + 0.5 * h
        for side in range(2):
            sign = 1.0 if side == 0 else -1.0
            up = sign * normals[v, 2]
            low = np.arcsin(min(1.0, max(-1.0, up)))
            if low + wide < -0.5 * h / r:
                continue
            more = 2.0 * h if low - wide < draft + 1.5 * h / r else 0.0
            cx, cy = px + sign * r * normals[v, 0], py + sign * r * normals[v, 1]
            if radius + more >= skirt:
                _patch(z, x0, y0, h, px, py, pz, px, py, skirt, r, cosine, top, cot, skirt)
                break
            _patch(z, x0, y0, h, px, py, pz, cx, cy, radius + more, r, cosine, top, cot, skirt)


@njit(cache=True, nogil=True)
def _strip(z, x0, y0, h, ax, ay, az, ux, uy, uz, l, length, s0, s1, e0, e1, r, cosine, cot, skirt):  # type: ignore[no-untyped-def]
    """One edge from (ax, ay, az) along unit u, where along its plan lies s0..s1 and across it e0..e1."""
    rows, columns = z.shape
    cx, cy = ux / l, uy / l  # along the edge, in plan
    steep = uz / (cot * l)
    ya = min(s0 * cy, s1 * cy) + min(e0 * cx, e1 * cx)
    yb = max(s0 * cy, s1 * cy) + max(e0 * cx, e1 * cx)
    i0, i1 = max(0, int(np.ceil((ay + ya - y0) / h))), min(rows - 1, int(np.floor((ay + yb - y0) / h)))
    for i in range(i0, i1 + 1):
        qy = y0 + i * h - ay
        xa, xb = -1e30, 1e30
        if abs(cx) > 1e-9:
            xa, xb = (s0 - qy * cy) / cx, (s1 - qy * cy) / cx
            if xa > xb:
                xa, xb = xb, xa
        if abs(cy) > 1e-9:
            p, q = (qy * cx - e0) / cy, (qy * cx - e1) / cy
            xa, xb = max(xa, min(p, q)), min(xb, max(p, q))
        j0, j1 = max(0, int(np.ceil((ax + xa - x0) / h))), min(columns - 1, int(np.floor((ax + xb - x0) / h)))
        for j in range(j0, j1 + 1):
            qx = x0 + j * h - ax
            s, e = qx * cx + qy * cy, abs(qy * cx - qx * cy)
            if abs(steep) < 1.0:
                rho = e / np.sqrt(1.0 - steep * steep)
                if rho >= r * cosine:  # touches on the cone
                    t = (s + rho * steep) / l
                    if 0.0 <= t <= length and rho <= skirt:
                        v = az + uz * t + r * np.sqrt(1.0 + cot * cot) - cot * rho
                        if v > z[i, j]:
                            z[i, j] = v
                    continue
            if e < r:
                rise = np.sqrt(r * r - e * e)
                v = az + (rise + uz * s) / l
                t = s * l + (v - az) * uz  # foot of the node on the axis
                if 0.0 <= t <= length and v > z[i, j]:
                    z[i, j] = v


@njit(cache=True, nogil=True)
def _cylinders(z, x0, y0, h, points, normals, window, edges, r, draft, floor):  # type: ignore[no-untyped-def]
    cosine, cot = np.cos(draft), 1.0 / np.tan(draft)
    skirt = r * cosine + 1.5 * h
    for k in range(len(edges)):
        a, b = edges[k, 0], edges[k, 1]
        if max(points[a, 2], points[b, 2]) + r <= floor:
            continue
        ax, ay, az = points[a, 0], points[a, 1], points[a, 2]
        dx, dy, dz = points[b, 0] - ax, points[b, 1] - ay, points[b, 2] - az
        length = np.sqrt(dx * dx + dy * dy + dz * dz)
        ux, uy, uz = dx / length, dy / length, dz / length
        l = np.sqrt(ux * ux + uy * uy)
        if l < 1e-9:
            continue
        plan, cx, cy = length * l, ux / l, uy / l
        narrow = False
        nx, ny, nz, wide = 0.0, 0.0, 1.0, 0.0
        if window[a] < 3.0 and window[b] < 3.0:
            dot = normals[a, 0] * normals[b, 0] + normals[a, 1] * normals[b, 1] + normals[a, 2] * normals[b, 2]
            sign = 1.0 if dot >= 0.0 else -1.0
            nx, ny = normals[a, 0] + sign * normals[b, 0], normals[a, 1] + sign * normals[b, 1]
            nz = normals[a, 2] + sign * normals[b, 2]
            size = np.sqrt(nx * nx + ny * ny + nz * nz)
            nx, ny, nz = nx / size, ny / size, nz / size
            wide = max(window[a], window[b]) + 0.5 * np.arccos(min(1.0, abs(dot))) + 0.03
            narrow = wide < 0.8
        if not narrow:
            _strip(
                z,
                x0,
                y0,
                h,
                ax,
                ay,
                az,
                ux,
                uy,
                uz,
                l,
                length,
                -skirt,
                plan + skirt,
                -skirt,
                skirt,
                r,
                cosine,
                cot,
                skirt,
            )
            continue
        for side in range(2):
            sign = 1.0 if side == 0 else -1.0
            low = np.arcsin(min(1.0, max(-1.0, sign * nz)))
            if low + wide < -0.5 * h / r:
                continue
            half = 2.0 * r * np.sin(0.5 * wide) + (2.5 * h if low - wide < draft + 1.5 * h / r else 0.5 * h)
            s = sign * r * (nx * cx + ny * cy)
            e = sign * r * (ny * cx - nx * cy)
            _strip(
                z, x0, y0, h, ax, ay, az, ux, uy, uz, l, length,
                max(-skirt, s - half), min(plan + skirt, s + plan + half), max(-skirt, e - half), min(skirt, e + half),
                r, cosine, cot, skirt,
            )  # fmt: skip


@njit(cache=True, nogil=True)
def _planes(z, x0, y0, h, points, faces, r, draft, floor):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    least = np.sin(draft)
    for f in range(len(faces)):
        a, b, c = points[faces[f, 0]], points[faces[f, 1]], points[faces[f, 2]]
        if max(a[2], b[2], c[2]) + r <= floor:
            continue
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = np.sqrt(nx * nx + ny * ny + nz * nz)
        if size <= 0.0 or abs(nz) < least * size:
            continue
        lift = r / size if nz > 0.0 else -r / size
        mx, my, mz = lift * nx, lift * ny, lift * nz
        ax, ay = a[0] + mx, a[1] + my
        bx, by = ax + ux, ay + uy
        cx, cy = ax + vx, ay + vy
        i0 = max(0, int(np.ceil((min(ay, by, cy) - y0) / h)))
        i1 = min(rows - 1, int(np.floor((max(ay, by, cy) - y0) / h)))
        gx, gy = -nx / nz, -ny / nz
        for i in range(i0, i1 + 1):
            y = y0 + i * h
            left, right = 1e30, -1e30
            for k in range(3):
                if k == 0:
                    px, py, qx, qy = ax, ay, bx, by
                elif k == 1:
                    px, py, qx, qy = bx, by, cx, cy
                else:
                    px, py, qx, qy = cx, cy, ax, ay
                if py == qy:
                    if py == y:
                        left, right = min(left, px, qx), max(right, px, qx)
                elif min(py, qy) <= y <= max(py, qy):
                    x = px + (qx - px) * (y - py) / (qy - py)
                    left, right = min(left, x), max(right, x)
            j0 = max(0, int(np.ceil((left - x0) / h)))
            j1 = min(columns - 1, int(np.floor((right - x0) / h)))
            for j in range(j0, j1 + 1):
                v = a[2] + mz + gx * (x0 + j * h - ax) + gy * (y - ay)
                if v > z[i, j]:
                    z[i, j] = v


def splat(mesh: Facets, grid: Grid, radius_mm: float, draft_deg: float, floor_mm: float) -> FloatArray:
    """Upper heights of a mesh grown by a ball, (rows, columns) [mm], `floor_mm` where there is nothing.

    Exact for the polyhedron to CHORD_MM at raster nodes; drafted only at silhouettes (see `draft`).
    """
    z = np.full((grid.rows, grid.columns), floor_mm)
    draft = np.radians(draft_deg)
    short = short_mm(max(radius_mm, mesh.least_mm))
    where = (z, grid.x0_mm, grid.y0_mm, grid.pitch_mm)
    edges, faces = mesh.left_open(radius_mm)
    _planes(*where, mesh.points, faces, radius_mm, draft, floor_mm)
    _spheres(*where, mesh.points, mesh.normals, mesh.window, mesh.reach_mm, short, radius_mm, draft, floor_mm)
    _cylinders(*where, mesh.points, mesh.normals, mesh.window, edges, radius_mm, draft, floor_mm)
    return z
