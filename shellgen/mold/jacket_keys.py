"""Domes on the rubber that nest in the shell, so that the jacket can neither turn nor sag in it.

A dome is one more point of the pattern, lifted so that the ball that grows about it stands `height` over the jacket.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import Envelope, FloatArray

LEAST = 3
GENTLE = ((25.0, 0.6), (35.0, 0.9), (45.0, 1.5))  # slope [degrees], fall within the rim as a share of it
STEEP = ((60.0, 1e9), (75.0, 1e9))
MOST = 9


def dome_rim_mm(radius_mm: float, height_mm: float) -> float:
    """Radius of the circle in which a ball standing `height` proud of a flat jacket meets it."""
    return float(np.sqrt(max(radius_mm**2 - (radius_mm - height_mm) ** 2, 0.0)))


def places(
    jacket: Envelope,
    *,
    rim_mm: float,
    height_mm: float,
    steep: bool,
    spacing_mm: float,
    least_height_mm: float,
    keep_off: tuple[tuple[float, float, float], ...],
    least_y_mm: float,
) -> FloatArray:
    """Spots (k, 3) on the jacket that face the pull, spaced as asked; nearer together where fewer than three would fit.

    steep : take slopes of more than 45 degrees too. keep_off : discs (x, y, radius) to leave free; least_y_mm : height
    over the board to leave free.
    """
    g, z = jacket.grid, jacket.heights_mm
    gy, gx = np.gradient(z, g.pitch_mm)
    slope = np.hypot(gx, gy)
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    free = (z > least_height_mm) & (y > least_y_mm)
    for cx, cy, r in keep_off:
        free &= np.hypot(x - cx, y - cy) > r
    n = max(1, round(1.2 * rim_mm / g.pitch_mm))
    turns = 2 * np.pi * np.arange(16) / 16
    steps = np.unique(np.round(n * np.column_stack([np.sin(turns), np.cos(turns)])).astype(int), axis=0)
    around = np.stack([np.roll(z, tuple(step), axis=(0, 1)) for step in steps])
    sink = z - around.min(axis=0)  # how far the surface falls within the rim
    proud = z - around.mean(axis=0)  # over the mean of a ring: less than nothing in a hollow, where a dome would drown
    best = np.zeros((0, 3))
    if least_height_mm < 0.0:  # what lies outside the cell is sunk away: no key where its foot would hang over the edge
        free &= around.min(axis=0) > least_height_mm
    free &= proud > -0.25 * height_mm
    for steepest, fall in STEEP if steep else GENTLE:
        ok = free & (slope < np.tan(np.radians(steepest))) & (sink < fall * rim_mm)
        candidates = np.column_stack([x[ok], y[ok], z[ok]])
        if len(candidates) == 0:
            continue
        spacing = spacing_mm
        while True:
            found = _spread(candidates, spacing)
            if len(found) >= LEAST or spacing < 2.2 * rim_mm:
                break
            spacing *= 0.85
        if len(found) > len(best):
            best = found
        if len(best) >= LEAST:
            break
    return best


def standing(jacket: Envelope, spots: FloatArray, *, rim_mm: float, height_mm: float) -> npt.NDArray[np.bool_]:
    """Which spots (k, 3) stand proud of the jacket once their domes are on it: a crevice beside one may drown it."""
    turns = 2 * np.pi * np.arange(16) / 16
    x = spots[:, :1] + 1.2 * rim_mm * np.cos(turns)
    y = spots[:, 1:2] + 1.2 * rim_mm * np.sin(turns)
    top = jacket.at(spots[:, 0], spots[:, 1])
    level = np.abs(top - spots[:, 2] - height_mm) < 0.25 + 0.1 * height_mm
    return level & (top - jacket.at(x, y).mean(axis=1) > 0.6 * height_mm)


def _spread(candidates: FloatArray, spacing_mm: float) -> FloatArray:
    """Farthest-first choice of at most MOST spots, no two nearer than the spacing.

    The first is the nearest to the middle, or the farthest from it where fewer than three fit that way.
    """
    off = np.hypot(*(candidates[:, :2] - candidates[:, :2].mean(axis=0)).T)
    chosen = _farthest_first(candidates, int(np.argmin(off)), spacing_mm)
    if len(chosen) < LEAST:
        other = _farthest_first(candidates, int(np.argmax(off)), spacing_mm)
        chosen = other if len(other) > len(chosen) else chosen
    return candidates[chosen]


def _farthest_first(candidates: FloatArray, first: int, spacing_mm: float) -> list[int]:
    chosen = [first]
    gap = np.hypot(*(candidates[:, :2] - candidates[first, :2]).T)
    while len(chosen) < MOST:
        k = int(np.argmax(gap))
        if gap[k] < spacing_mm:
            break
        chosen.append(k)
        gap = np.minimum(gap, np.hypot(*(candidates[:, :2] - candidates[k, :2]).T))
    return chosen
