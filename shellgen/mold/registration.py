"""Keys on the flange, placed so that the pieces go together one way only.

A wrong closing is a motion in the parting plane: a half turn, or a shift by one bolt pitch. It is caught when a male key
lands on the other half's flange away from every socket. Places between the bolts are searched for the set that every
wrong closing misses by most.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray

MOST_SETS = 6000


def wrong_closings(bolts: FloatArray, middles: FloatArray) -> list[FloatArray]:
    """2 x 3 plan motions that bring (some) bolt holes over others: half turns about likely middles, shifts by one pitch."""
    motions = [np.array([[-1.0, 0.0, 2 * m[0]], [0.0, -1.0, 2 * m[1]]]) for m in middles]
    steps = np.diff(bolts, axis=0)
    if len(steps):
        longest = steps[np.argsort(-np.hypot(*steps.T), kind="stable")[:2]]
        for step in (*longest, *(-longest)):
            motions.append(np.array([[1.0, 0.0, step[0]], [0.0, 1.0, step[1]]]))
    return motions


def choose_keys(
    places: FloatArray, count: int, radius_mm: float, land: BaseGeometry, motions: list[FloatArray]
) -> tuple[FloatArray, float]:
    """Indices into places (n, 2) of the keys, and the least miss [mm] over all wrong closings.

    land : where a male key would stand on flange (holes taken out). A miss of a key radius or more cannot close.
    """
    n = len(places)
    count = min(count, n)
    if count == 0:
        return np.zeros(0, int), 0.0
    stride = 1
    while _sets(len(range(0, n, stride)), count) > MOST_SETS:
        stride += 1
    index = np.arange(0, n, stride)
    moved = [places @ m[:, :2].T + m[:, 2] for m in motions]
    on_land = [shapely.contains_xy(land, q[:, 0], q[:, 1]) for q in moved]
    gap = [np.hypot(q[:, None, 0] - places[None, :, 0], q[:, None, 1] - places[None, :, 1]) for q in moved]
    best, found = -1.0, index[:count]
    span = float(np.hypot(*np.ptp(places, axis=0))) or 1.0
    for chosen in combinations(index.tolist(), count):
        c = np.array(chosen)
        miss = min(
            (float(np.max(np.where(on[c], g[np.ix_(c, c)].min(axis=1), 0.0))) for on, g in zip(on_land, gap, strict=True)),
            default=span,
        )
        pairs = places[c][:, None] - places[c][None]
        spread = np.sort(np.hypot(pairs[..., 0], pairs[..., 1]).ravel())[count : count + 1]
        score = min(miss, 3 * radius_mm) + 0.5 * radius_mm * (float(spread[0]) / span if len(spread) else 0.0)
        if score > best + 1e-9:
            best, found = score, c
    miss = min(
        (
            float(np.max(np.where(on[found], g[np.ix_(found, found)].min(axis=1), 0.0)))
            for on, g in zip(on_land, gap, strict=True)
        ),
        default=span,
    )
    return np.asarray(found, int), miss


def _sets(n: int, k: int) -> int:
    total = 1
    for i in range(k):
        total = total * (n - i) // (i + 1)
    return total
