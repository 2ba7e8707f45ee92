"""The renderer's compiled loops: corner normals, rasterising, shading with ink lines."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# Shading: how much of a colour is left in shade, and what the light adds.
_AMBIENT, _HEAD, _SKY = 0.58, 0.30, 0.20


@njit(cache=True, nogil=True)
def corner_normals(screen, faces, crease_cos):  # type: ignore[no-untyped-def]
    """(m, 3, 3) float32 unit normals in screen axes (x right, y down, z near) at each corner of each face.

    Each is the area-weighted mean over the faces round the vertex that lean less than the crease angle from this one.
    """
    count, points = len(faces), len(screen)
    normal = np.empty((count, 4))
    start = np.zeros(points + 1, np.int64)
    for f in range(count):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy, uz = screen[b, 0] - screen[a, 0], screen[b, 1] - screen[a, 1], screen[b, 2] - screen[a, 2]
        vx, vy, vz = screen[c, 0] - screen[a, 0], screen[c, 1] - screen[a, 1], screen[c, 2] - screen[a, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = math.sqrt(nx * nx + ny * ny + nz * nz)
        scale = 1.0 / size if size > 0.0 else 0.0
        normal[f, 0], normal[f, 1], normal[f, 2], normal[f, 3] = nx * scale, ny * scale, nz * scale, size
        start[a + 1] += 1
        start[b + 1] += 1
        start[c + 1] += 1
    for p in range(points):
        start[p + 1] += start[p]
    ring = np.empty(3 * count, np.int32)
    fill = start[:-1].copy()
    for f in range(count):
        for k in range(3):
            p = faces[f, k]
            ring[fill[p]] = f
            fill[p] += 1
    out = np.empty((count, 3, 3), np.float32)
    for f in range(count):
        nx, ny, nz = normal[f, 0], normal[f, 1], normal[f, 2]
        for k in range(3):
            p = faces[f, k]
            sx, sy, sz = 0.0, 0.0, 0.0
            if start[p + 1] - start[p] <= 64:
                for r in range(start[p], start[p + 1]):
                    g = ring[r]
                    gx, gy, gz, weight = normal[g, 0], normal[g, 1], normal[g, 2], normal[g, 3]
                    if gx * nx + gy * ny + gz * nz > crease_cos:
                        sx += gx * weight
                        sy += gy * weight
                        sz += gz * weight
            size = math.sqrt(sx * sx + sy * sy + sz * sz)
            if size > 0.0:
                out[f, k, 0], out[f, k, 1], out[f, k, 2] = sx / size, sy / size, sz / size
            else:
                out[f, k, 0], out[f, k, 1], out[f, k, 2] = nx, ny, nz
    return out


@njit(cache=True, nogil=True)
def look_away(screen, faces):  # type: ignore[no-untyped-def]
    """(m,) bool, the faces seen from behind."""
    out = np.empty(len(faces), np.bool_)
    for f in range(len(faces)):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, uy = screen[b, 0] - screen[a, 0], screen[b, 1] - screen[a, 1]
        vx, vy = screen[c, 0] - screen[a, 0], screen[c, 1] - screen[a, 1]
        out[f] = ux * vy - uy * vx > 0.0
    return out


@njit(cache=True, nogil=True)
def rasterise(screen, faces, skipped, begin, end, plane, depth, owner, first, last):  # type: ignore[no-untyped-def]
    """Draw triangles begin <= f < end into rows first <= row < last of depth (float32) and owner (int32 face index).

    A sample stands in the middle of its sub-pixel; of two equal depths the earlier face stays. Samples with
    plane · (x, y, z, 1) > 0 are left out, and faces that are skipped.
    """
    width = depth.shape[1]
    pa, pb, pc, pd = plane[0], plane[1], plane[2], plane[3]
    for f in range(begin, end):
        if skipped[f]:
            continue
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = screen[a, 0], screen[a, 1], screen[a, 2]
        bx, by, bz = screen[b, 0], screen[b, 1], screen[b, 2]
        cx, cy, cz = screen[c, 0], screen[c, 1], screen[c, 2]
        top, bottom = min(ay, by, cy), max(ay, by, cy)
        if bottom < first or top > last:
            continue
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        inverse = 1.0 / area
        x0, x1 = max(0, math.ceil(min(ax, bx, cx) - 0.5)), min(width - 1, math.floor(max(ax, bx, cx) - 0.5))
        y0, y1 = max(first, math.ceil(top - 0.5)), min(last - 1, math.floor(bottom - 0.5))
        # barycentric weights of b and c and their steps
        vx, vy = (cy - ay) * inverse, -(cx - ax) * inverse
        wx, wy = -(by - ay) * inverse, (bx - ax) * inverse
        zx = vx * (bz - az) + wx * (cz - az)
        zy = vy * (bz - az) + wy * (cz - az)
        for row in range(y0, y1 + 1):
            dy = row + 0.5 - ay
            v_row, w_row, z_row = vy * dy, wy * dy, az + zy * dy
            for column in range(x0, x1 + 1):
                dx = column + 0.5 - ax
                v = v_row + vx * dx
                w = w_row + wx * dx
                if v >= -1e-9 and w >= -1e-9 and v + w <= 1.0 + 1e-9:
                    z = np.float32(z_row + zx * dx)
                    if z > depth[row, column] and pa * (column + 0.5) + pb * (row + 0.5) + pc * z + pd <= 0.0:
                        depth[row, column] = z
                        owner[row, column] = f


@njit(cache=True, nogil=True)
def cap(screen, faces, plane, depth, owner, first, last):  # type: ignore[no-untyped-def]
    """Close cut solids: where the nearest face left is seen from behind, the cut face stands there.

    Its depth becomes the plane's, its owner -2 - f.
    """
    for row in range(first, last):
        for column in range(depth.shape[1]):
            f = owner[row, column]
            if f < 0:
                continue
            a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
            ux, uy = screen[b, 0] - screen[a, 0], screen[b, 1] - screen[a, 1]
            tx, ty = screen[c, 0] - screen[a, 0], screen[c, 1] - screen[a, 1]
            if ux * ty - uy * tx > 0.0:
                owner[row, column] = -2 - f
                flat = -(plane[0] * (column + 0.5) + plane[1] * (row + 0.5) + plane[3]) / plane[2]
                depth[row, column] = max(depth[row, column], np.float32(flat))


@njit(cache=True, nogil=True)
def _normal_at(screen, faces, corners, f, column, row):  # type: ignore[no-untyped-def]
    """Interpolated normal of face f at a sub-pixel, turned towards the viewer, and the weights of its corners."""
    a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
    ax, ay = screen[a, 0], screen[a, 1]
    ux, uy = screen[b, 0] - ax, screen[b, 1] - ay
    tx, ty = screen[c, 0] - ax, screen[c, 1] - ay
    inverse = 1.0 / (ux * ty - uy * tx)
    dx, dy = column + 0.5 - ax, row + 0.5 - ay
    v = (dx * ty - dy * tx) * inverse
    w = (dy * ux - dx * uy) * inverse
    u = 1.0 - v - w
    nx = u * corners[f, 0, 0] + v * corners[f, 1, 0] + w * corners[f, 2, 0]
    ny = u * corners[f, 0, 1] + v * corners[f, 1, 1] + w * corners[f, 2, 1]
    nz = u * corners[f, 0, 2] + v * corners[f, 1, 2] + w * corners[f, 2, 2]
    size = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
    if nz < 0.0:
        size = -size
    return nx / size, ny / size, nz / size, u, v, w


@njit(cache=True, nogil=True)
def _light_row(  # type: ignore[no-untyped-def]
    screen, faces, body_of, corners, colours, flat, plane, owner, seen, row, normals, lit
):
    """Normals and lit colours of one sub-pixel row into two (width, 3) buffers; its first and last drawn column."""
    width = owner.shape[1]
    left, right = width, -1
    for column in range(width):
        f = owner[row, column]
        if f == -1:
            continue
        left, right = min(left, column), column
        if f < -1:
            seen[row, column] = body_of[-2 - f]
            for k in range(3):
                normals[column, k] = plane[k]
                lit[column, k] = flat[body_of[-2 - f], k]
            continue
        seen[row, column] = body_of[f]
        nx, ny, nz, u, v, w = _normal_at(screen, faces, corners, f, column, row)
        normals[column, 0], normals[column, 1], normals[column, 2] = nx, ny, nz
        light = _AMBIENT + _HEAD * nz + _SKY * (-0.80 * ny - 0.45 * nx + 0.40 * nz)
        light = min(1.12, max(0.25, light))
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        for k in range(3):
            lit[column, k] = min(255.0, light * (u * colours[a, k] + v * colours[b, k] + w * colours[c, k]))
    return left, right


@njit(cache=True, nogil=True)
def shade(  # type: ignore[no-untyped-def]
    screen, faces, body_of, corners, colours, flat, plane, depth, owner, look, step, over, rgb, seen, first, last
):
    """Colour pixel rows first <= row < last of rgb from the drawn sub-pixels.

    look : paper and ink, six floats. flat : colour of each body's cut face, drawn unlit. seen : body at each
    sub-pixel. step : contour lines wherever the depth passes an odd multiple of half of it; 0 for none.
    """
    height, width = depth.shape
    ring = over + 2
    normals, lit = np.zeros((ring, width, 3), np.float32), np.zeros((ring, width, 3), np.float32)
    lefts, rights = np.empty(ring, np.int64), np.empty(ring, np.int64)
    done = max(0, first * over - 1)
    share = 1.0 / (over * over)
    for row in range(first, last):
        while done < min(height, row * over + over + 1):
            k = done % ring
            lefts[k], rights[k] = _light_row(
                screen, faces, body_of, corners, colours, flat, plane, owner, seen, done, normals[k], lit[k]
            )
            done += 1
        left, right = width, -1
        for i in range(max(0, row * over - 1), done):
            left, right = min(left, lefts[i % ring]), max(right, rights[i % ring])
        for column in range(width // over):
            red, green, blue = 0.0, 0.0, 0.0
            if column * over + over < left or column * over > right + 1:
                for k in range(3):
                    rgb[row, column, k] = look[k]
                continue
            for i in range(row * over, row * over + over):
                for j in range(column * over, column * over + over):
                    line = _line(depth, owner, body_of, normals, step, i, j)
                    if owner[i, j] == -1:
                        r, g, b = look[0], look[1], look[2]
                    else:
                        r, g, b = lit[i % ring, j, 0], lit[i % ring, j, 1], lit[i % ring, j, 2]
                    red += r + line * (look[3] - r)
                    green += g + line * (look[4] - g)
                    blue += b + line * (look[5] - b)
            rgb[row, column, 0] = int(red * share + 0.5)
            rgb[row, column, 1] = int(green * share + 0.5)
            rgb[row, column, 2] = int(blue * share + 0.5)


@njit(cache=True, nogil=True)
def _line(depth, owner, body_of, normals, step, i, j):  # type: ignore[no-untyped-def]
    """Strength of the ink at a sub-pixel, 0 to 1: outline, change of body, step in depth, crease, contour."""
    height, width = depth.shape
    ring = len(normals)
    f = owner[i, j]
    own = -1 if f == -1 else body_of[max(f, -2 - f)]
    strength = 0.0
    for axis in range(2):
        di, dj = (1, 0) if axis == 0 else (0, 1)
        i0, j0, i1, j1 = i - di, j - dj, i + di, j + dj
        if i0 < 0 or j0 < 0 or i1 >= height or j1 >= width:
            continue
        f0, f1 = owner[i0, j0], owner[i1, j1]
        if step > 0.0 and f >= 0 and f1 >= 0:
            rise = math.floor(depth[i1, j1] / step + 0.5) - math.floor(depth[i, j] / step + 0.5)
            strength = max(strength, 0.55 if abs(rise) == 1.0 else 0.0)
        if f0 == f and f1 == f:
            continue
        if f == -1 or f0 == -1 or f1 == -1:
            strength = max(strength, 0.85)
            continue
        if body_of[max(f0, -2 - f0)] != own or body_of[max(f1, -2 - f1)] != own:
            strength = max(strength, 0.75)
        if (f < 0) != (f0 < 0) or (f < 0) != (f1 < 0):
            strength = max(strength, 0.75)
        bend = abs(depth[i0, j0] + depth[i1, j1] - 2.0 * depth[i, j])
        if bend > 8.0:
            strength = max(strength, min(0.7, 0.1 * (bend - 8.0)))
        p, q = i0 % ring, i1 % ring
        turn = 0.0
        for k in range(3):
            turn += normals[p, j0, k] * normals[q, j1, k]
        if turn < 0.90:
            strength = max(strength, min(0.5, 2.5 * (0.90 - turn)))
    return strength
