"""Keys on the flange, placed so that the pieces go together one way only.

A wrong closing is a motion in the parting plane: a half turn, or a shift by one bolt pitch. It is caught when a male
key lands on the other half's flange away from every socket. Places between the bolts are searched for the set that
every wrong closing misses by most.
"""

from __future__ import annotations

from itertools import combinations, product
from math import comb

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

MOST_SETS = 2000


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
) -> tuple[IntArray, tuple[bool, ...]]:
    """Indices into places (n, 2) of the keys, and which of them stand on the second piece: the set hardest to miss.

    land : where a male key would stand on flange (holes taken out). A wrong closing is missed by the farthest that any
    male key lands from every socket, on land; a key radius is enough, and among such sets the keys spread out. All
    males stand on the first piece where that does; in an even row a shift would find a socket for each, so some change
    sides, or fewer are taken.
    """
    n = len(places)
    if min(count, n) == 0:
        return np.zeros(0, np.int32), ()
    ways = []  # for the first piece's males the other piece moves under them: the motion backwards
    for m in motions:
        back = np.linalg.inv(np.vstack([m, [0.0, 0.0, 1.0]]))[:2]
        ways.append(tuple(_landing(places, w, land) for w in (back, m)))
    best, found, sides = -1.0, np.arange(min(count, n)), (False,) * min(count, n)
    for k in range(min(count, n), 0, -1):
        sets = _sets(n, k)
        nearest = _nearest(places, sets)
        for turned in product((False, True), repeat=k):
            if turned[0]:  # the same again with the pieces' names changed
                continue
            miss = np.full(len(sets), np.inf)
            for way in ways:
                reach = np.zeros(len(sets))
                for kind, (on, gap) in zip((False, True), way, strict=True):
                    own = sets[:, [j for j in range(k) if turned[j] == kind]]
                    if own.shape[1]:
                        away = gap[own[:, :, None], own[:, None, :]].min(axis=2)
                        reach = np.maximum(reach, np.where(on[own], away, 0.0).max(axis=1))
                miss = np.minimum(miss, reach)
            score = np.minimum(miss, 3 * radius_mm) + 0.5 * radius_mm * nearest / max(float(nearest.max()), 1e-9)
            top = int(np.argmax(score))
            if float(miss[top]) > best + 1e-9:
                best, found, sides = float(miss[top]), sets[top], turned
            if best >= radius_mm:
                return np.asarray(found, np.int32), sides
    return np.asarray(found, np.int32), sides


def _landing(places: FloatArray, motion: FloatArray, land: BaseGeometry) -> tuple[npt.NDArray[np.bool_], FloatArray]:
    """Whether each place lands on the flange under a motion, and how far from each other place (n, n)."""
    moved = places @ motion[:, :2].T + motion[:, 2]
    on = shapely.contains_xy(land, moved[:, 0], moved[:, 1])
    gap = np.hypot(moved[:, None, 0] - places[None, :, 0], moved[:, None, 1] - places[None, :, 1])
    return on, gap


def _nearest(places: FloatArray, sets: npt.NDArray[np.intp]) -> FloatArray:
    """Distance of the two nearest places of each set (m, k)."""
    apart = np.hypot(*(places[sets][:, :, None] - places[sets][:, None]).transpose(3, 0, 1, 2))
    k = sets.shape[1]
    apart[:, np.arange(k), np.arange(k)] = np.inf
    least = apart.reshape(len(sets), -1).min(axis=1)
    return np.where(np.isfinite(least), least, 0.0)


def _sets(n: int, k: int) -> npt.NDArray[np.intp]:
    """Sets of k out of n places, (m, k); of every second, third... place where they would be too many."""
    stride = 1
    while comb(len(range(0, n, stride)), k) > MOST_SETS:
        stride += 1
    return np.array(list(combinations(range(0, n, stride), k)), np.intp)
