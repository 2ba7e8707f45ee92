"""Peaks of a height on a graph: which die where, by the elder rule, and which have no way out to a vent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class MergeTree:
    """What becomes of every peak as the level falls; arrays (n,) over the graph's nodes, NaN where not a peak of that
    kind.

    dies_at : level at which the peak's region meets one with a higher peak. sealed_at : level at which the region,
    having no vent, meets one that has. root : for each node the highest node of its whole connected part. vented_root
    : for each node whether that part holds a vent.
    """

    dies_at: FloatArray
    sealed_at: FloatArray
    root: IndexArray
    vented_root: npt.NDArray[np.bool_]


@njit(cache=True, nogil=True)
def _find(parent: IndexArray, node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


@njit(cache=True, nogil=True)
def _fall(
    first: IndexArray,
    second: IndexArray,
    level: FloatArray,
    height: FloatArray,
    open_: npt.NDArray[np.bool_],
    parent: IndexArray,
    dies_at: FloatArray,
    sealed_at: FloatArray,
) -> None:
    """Join nodes along edges in the order given; the root of a set is its highest node, the earlier one of two equals.

    `open_` holds at a root whether its set has a vent. A set whose root is joined without outliving a level dies
    silently.
    """
    for e in range(first.shape[0]):
        a, b = _find(parent, first[e]), _find(parent, second[e])
        if a == b:
            continue
        if height[b] > height[a] or (height[b] == height[a] and b < a):
            a, b = b, a
        dies_at[b] = level[e]
        if open_[a] != open_[b]:
            sealed_at[b if open_[a] else a] = level[e]
            open_[a] = True
        parent[b] = a
    for node in range(parent.shape[0]):
        parent[node] = _find(parent, node)


def merge_tree(
    height: FloatArray,
    first: IndexArray,
    second: IndexArray,
    level: FloatArray | None = None,
    vented: npt.NDArray[np.bool_] | None = None,
) -> MergeTree:
    """Union-find over edges of falling level.

    height : (n,). first, second : (m,) nodes joined. level : (m,) the highest level at which the two are one; by
    default that of the lower node. vented : (n,) nodes at which air gets out.
    """
    if level is None:
        level = np.minimum(height[first], height[second])
    order = np.argsort(-level, kind="stable")
    count = len(height)
    parent = np.arange(count)
    is_open = np.zeros(count, np.bool_) if vented is None else vented.copy()
    dies_at, sealed_at = np.full(count, np.nan), np.full(count, np.nan)
    _fall(first[order], second[order], level[order], height, is_open, parent, dies_at, sealed_at)
    return MergeTree(dies_at, sealed_at, parent, is_open[parent])
