"""What a flood from outside reaches round a surface in cells, holes up to a stated width held shut."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

Mask = npt.NDArray[np.bool_]
RADII = (0, 1, 2, 4, 8)  # cells: a ball of this radius has to pass where the flood goes in
_FAR = 255


@njit(cache=True, nogil=True)
def _along(distance, other, reach):  # type: ignore[no-untyped-def]
    """Least of distance[.., j + s] + s^2 over |s| <= reach, along the middle axis of (a, b, c)."""
    na, nb, nc = distance.shape
    for a in range(na):
        for b in range(nb):
            for c in range(nc):
                other[a, b, c] = distance[a, b, c]
        for s in range(1, reach + 1):
            add = np.int16(s * s)
            for b in range(nb - s):
                for c in range(nc):
                    other[a, b, c] = min(other[a, b, c], np.int16(distance[a, b + s, c] + add))
                    other[a, b + s, c] = min(other[a, b + s, c], np.int16(distance[a, b, c] + add))


def squared_distance(mask: Mask, reach: int) -> npt.NDArray[np.int16]:
    """Squared distance in cells from each cell to the nearest marked one: exact up to `reach` <= 15, else 255."""
    shape = mask.shape
    distance = np.where(mask, np.int16(0), np.int16(_FAR))
    other = np.empty_like(distance)
    nx, ny, nz = shape
    for view in ((1, nx, ny * nz), (nx, ny, nz), (nx * ny, nz, 1)):
        _along(distance.reshape(view), other.reshape(view), reach)
        distance, other = other, distance
    return distance


@njit(cache=True, nogil=True)
def _spread(free, seeds, steps):  # type: ignore[no-untyped-def]
    """Cells of `free` joined to a seed across faces; flat, nothing free on the grid's outside."""
    reached = np.zeros(len(free), np.bool_)
    stack = np.empty(1 << 16, np.int32)
    for s in range(len(seeds)):
        seed = seeds[s]
        if not free[seed] or reached[seed]:
            continue
        reached[seed] = True
        stack[0], depth = seed, 1
        while depth > 0:
            depth -= 1
            c = stack[depth]
            if depth + 6 >= len(stack):
                more = np.empty(2 * len(stack), np.int32)
                for i in range(depth):
                    more[i] = stack[i]
                stack = more
            for k in range(6):
                t = c + steps[k]
                if free[t] and not reached[t]:
                    reached[t] = True
                    stack[depth] = t
                    depth += 1
    return reached


def _rim(shape: tuple[int, ...], board: bool) -> npt.NDArray[np.int32]:
    """The outermost cells but one, from where the flood starts; not from below where there is a board."""
    edge = np.zeros(shape, bool)
    edge[1], edge[-2], edge[:, 1], edge[:, -2], edge[:, :, -2] = True, True, True, True, True
    if not board:
        edge[:, :, 1] = True
    return np.flatnonzero(edge.ravel()).astype(np.int32)


def outside(occupied: Mask, *, board: bool) -> tuple[Mask, int]:
    """Cells outside the surface: (mask, radius in cells of the ball that had to pass).

    The radius starts at 0 and grows only where that shuts off a real inside: cells deeper than the radius that the
    flood reached before and that are more than a tenth of all hidden ones. board : nothing comes in from below.
    """
    walled = np.pad(occupied, 1)
    near = squared_distance(walled, RADII[-1])
    for axis in range(3):  # the outermost cells hold the flood in
        for side in (0, -1):
            near[(slice(None),) * axis + (side,)] = 0
    seeds, (_, ny, nz), flat = _rim(walled.shape, board), walled.shape, near.reshape(-1)
    steps = np.array([1, -1, nz, -nz, ny * nz, -ny * nz])
    best, radius = _spread(flat > 0, seeds, steps), 0
    for r in RADII[1:]:
        free = flat > r * r
        reached = _spread(free, seeds, steps)
        hidden = free & ~reached
        shut = int((hidden & best).sum())
        if shut > 64 and shut > 0.1 * int(hidden.sum()):
            best, radius = reached, r
    reached = best.reshape(walled.shape)
    if radius:
        reached = squared_distance(reached, radius) <= radius * radius
    return reached[1:-1, 1:-1, 1:-1] & ~occupied, radius


@njit(cache=True, nogil=True)
def _labels(solid):  # type: ignore[no-untyped-def]
    """Number the bodies of a mask from 1: (numbers, flat; count of bodies)."""
    nx, ny, nz = solid.shape
    flat = solid.reshape(nx * ny * nz)
    number = np.zeros(nx * ny * nz, np.int32)
    stack, bodies = np.empty(1024, np.int64), 0
    for seed in range(len(flat)):
        if not flat[seed] or number[seed]:
            continue
        bodies += 1
        number[seed] = bodies
        stack[0], depth = seed, 1
        while depth > 0:
            depth -= 1
            c = stack[depth]
            z, y, x = c % nz, (c // nz) % ny, c // (ny * nz)
            if depth + 6 >= len(stack):
                more = np.empty(2 * len(stack), np.int64)
                for i in range(depth):
                    more[i] = stack[i]
                stack = more
            for k in range(6):
                if k == 0 and x > 0:
                    t = c - ny * nz
                elif k == 1 and x < nx - 1:
                    t = c + ny * nz
                elif k == 2 and y > 0:
                    t = c - nz
                elif k == 3 and y < ny - 1:
                    t = c + nz
                elif k == 4 and z > 0:
                    t = c - 1
                elif k == 5 and z < nz - 1:
                    t = c + 1
                else:
                    continue
                if flat[t] and not number[t]:
                    number[t] = bodies
                    stack[depth] = t
                    depth += 1
    return number, bodies


def without_islands(solid: Mask, least_share: float) -> Mask:
    """The solid's bodies (joined across faces) of at least this share of the largest one's cells."""
    number, bodies = _labels(solid)
    count = np.bincount(number, minlength=bodies + 1)
    count[0] = 0
    keep = count >= max(least_share * count.max(), 1)
    return keep[number].reshape(solid.shape)
