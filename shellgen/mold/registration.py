"""Keys on the flange, placed so that the pieces go together one way only.

A wrong closing is a motion in the parting plane: a half turn, or a shift by one bolt pitch. It is caught when a male
key lands on the other half's flange away from every socket. Places between the bolts are searched for the set that
every wrong closing misses by most.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

MOST_SETS = 6000


def wrong_closings(bolts: FloatArray) -> list[FloatArray]:
    """2 x 3 plan motions of the second piece that lay its bolt holes on others (n, 2).

    Half turns about the middle of the bolts and about the two centres where most holes fall on holes; shifts by a step
    between neighbours, those two that lay most holes on holes, both ways.
    """
    flat = bolts - bolts.mean(axis=0)
    axes = np.linalg.svd(flat, full_matrices=False)[2]
    box = flat @ axes.T
    centres = [bolts.mean(axis=0) + 0.5 * (box.min(axis=0) + box.max(axis=0)) @ axes]
    i, j = np.triu_indices(len(bolts), 1)
    halfway = 0.5 * (bolts[i] + bolts[j])
    if len(halfway):
        hits = _matches(bolts, 2 * halfway[:, None] - bolts[None])
        centres += list(halfway[np.argsort(-hits, kind="stable")[:2]])
    motions = [np.array([[-1.0, 0.0, 2 * c[0]], [0.0, -1.0, 2 * c[1]]]) for c in centres]
    gaps = np.hypot(*(bolts[:, None] - bolts[None]).transpose(2, 0, 1))
    np.fill_diagonal(gaps, np.inf)
    steps = bolts[gaps.argmin(axis=1)] - bolts
    hits = _matches(bolts, bolts[None] + steps[:, None])
    for step in steps[np.argsort(-hits, kind="stable")[:2]]:
        motions += [np.array([[1.0, 0.0, s * step[0]], [0.0, 1.0, s * step[1]]]) for s in (1.0, -1.0)]
    return motions


def _matches(bolts: FloatArray, moved: FloatArray) -> FloatArray:
    """How many of the moved holes (c, n, 2) fall within 1 mm of a hole (n, 2), for each of c motions."""
    away = cKDTree(bolts).query(moved.reshape(-1, 2))[0].reshape(moved.shape[:2])
    return np.asarray((away < 1.0).sum(axis=1), float)


def choose_keys(
    places: FloatArray, count: int, radius_mm: float, land: BaseGeometry, motions: list[FloatArray]
) -> IntArray:
    """Indices into places (n, 2) of the keys: the set whose least miss over all wrong closings is greatest.

    land : where a male key would stand on flange (holes taken out). A closing is missed by the farthest that any male
    key lands from every socket, on land; a key radius is enough, and among such sets the keys spread out.
    """
    n = len(places)
    count = min(count, n)
    if count == 0:
        return np.zeros(0, np.int32)
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
            (
                float(np.max(np.where(on[c], g[np.ix_(c, c)].min(axis=1), 0.0)))
                for on, g in zip(on_land, gap, strict=True)
            ),
            default=span,
        )
        pairs = places[c][:, None] - places[c][None]
        spread = np.sort(np.hypot(pairs[..., 0], pairs[..., 1]).ravel())[count : count + 1]
        score = min(miss, 3 * radius_mm) + 0.5 * radius_mm * (float(spread[0]) / span if len(spread) else 0.0)
        if score > best + 1e-9:
            best, found = score, c
    return np.asarray(found, np.int32)


def _sets(n: int, k: int) -> int:
    total = 1
    for i in range(k):
        total = total * (n - i) // (i + 1)
    return total
