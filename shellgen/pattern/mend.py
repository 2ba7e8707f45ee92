"""Mend the parts of a mesh that are not closed: weld cracks, cut out tangles, cap holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.pattern.caps import caps
from shellgen.pattern.loops import open_loops
from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.topology import Topology, part_sums, topology
from shellgen.pattern.weld import weld

CRACK = 2e-5  # of the longest side: open edges nearer than this are one edge with rounding between
_CUT_MOST = 0.03  # share of a mesh's area that may be cut out as tangled
_CAP_MOST = 0.6  # share of a part's own area that caps may have
_BULK_LEAST = 1e-4  # least volume / area^1.5 of a body (a ball: 0.094)
_SPECK, _SPECKS_MOST = 2e-4, 0.01  # share of the area of one speck, of all specks together
_NEIGHBOUR = 0.004  # of the longest side: open edges of two parts nearer than this belong to one torn surface


@dataclass(frozen=True, slots=True, eq=False)
class Mended:
    """What became of the parts that were not closed.

    vertices, faces : closed parts, turned outward. capped : of these the caps (vertex numbers in `vertices`).
    left : triangles (vertex numbers in `vertices`) that need an outer skin instead. holes : number of holes capped.
    cut : triangles that were cut out as tangled. welded : whether cracks were closed.
    """

    vertices: FloatArray
    faces: IntArray
    capped: IntArray
    left: IntArray
    holes: int
    cut: IntArray
    welded: bool

    def given_up(self) -> Mended:
        """Everything left to an outer skin."""
        none = np.empty((0, 3), np.int32)
        return Mended(self.vertices, none, none, np.vstack([self.left, self.faces]), 0, none, self.welded)


def mended(vertices: FloatArray, faces: IntArray, *, board: bool) -> Mended:
    """Close what can be closed with the mesh's own triangles.

    board : z = 0 is a board; a hole whose rim lies on or under it may be capped whatever its size.
    """
    size = float(np.ptp(vertices, axis=0).max())
    before = len(vertices)
    vertices, faces = _cracks_closed(vertices, faces, CRACK * size)
    welded = len(vertices) < before
    whole = float(_areas(vertices, faces).sum())
    top, cut = _untangled(vertices, faces, _CUT_MOST * whole)
    specks = _specks(vertices, top, whole)
    torn = _torn(vertices, top, _NEIGHBOUR * size, specks)
    good_faces, good_caps, left = [], [], []
    holes = 0
    by_part = np.argsort(top.part, kind="stable")
    bounds = np.searchsorted(top.part[by_part], np.arange(top.parts + 1))
    for part in np.flatnonzero(~specks):
        members = by_part[bounds[part] : bounds[part + 1]]
        twins = _own_twins(top, members)
        own = top.faces[members]
        bad = top.conflict[part] or top.crowded.reshape(-1, 3)[members].any() or torn[part]
        result = None if bad else _closed_part(vertices, own, twins, board)
        if result is None:
            left.append(own)
            continue
        vertices, closed, lid, count = result
        good_faces.append(closed)
        good_caps.append(lid)
        holes += count
    return Mended(vertices, _stacked(good_faces), _stacked(good_caps), _stacked(left), holes, cut, welded)


def _closed_part(
    vertices: FloatArray, faces: IntArray, twins: IntArray, board: bool
) -> tuple[FloatArray, IntArray, IntArray, int] | None:
    """(vertices, faces with caps turned outward, caps, holes); None if caps would make no sensible body."""
    loops = open_loops(faces, twins)
    more, lid = caps(vertices, loops)
    closed = np.vstack([faces, lid])
    volume, area = part_sums(more, closed, np.zeros(len(closed), np.int32), 1)[0]
    lid_area = float(_areas(more, lid).sum())
    grounded = board and all(more[loop, 2].max() <= 1e-6 for loop in loops)
    if abs(volume) <= _BULK_LEAST * area**1.5 or (lid_area > _CAP_MOST * (area - lid_area) and not grounded):
        return None
    again = topology(more, closed)
    if (again.twins < 0).any() or again.conflict.any():
        return None
    if volume < 0:
        closed, lid = closed[:, [0, 2, 1]], lid[:, [0, 2, 1]]
    return more, closed, lid, len(loops)


def _untangled(vertices: FloatArray, faces: IntArray, most: float) -> tuple[Topology, IntArray]:
    """Cut out triangles on edges of three or more faces, fins first, while that costs little: (topology, cut out)."""
    top, cut, area = topology(vertices, faces), [], 0.0
    for turn in range(12):
        crowded = top.crowded.reshape(-1, 3).any(axis=1)
        if not crowded.any():
            break
        bare = (top.twins < 0).reshape(-1, 3) & ~top.crowded.reshape(-1, 3)
        fins = crowded & bare.any(axis=1)
        small = crowded & (np.bincount(top.part, minlength=top.parts)[top.part] <= 4)
        out = fins | small if turn < 6 and (fins | small).any() else crowded
        area += float(_areas(vertices, top.faces[out]).sum())
        if area > most:
            break
        cut.append(top.faces[out])
        top = topology(vertices, top.faces[~out])
    return top, _stacked(cut)


def _specks(vertices: FloatArray, top: Topology, whole: float) -> npt.NDArray[np.bool_]:
    """Parts too small to count, as long as all of them together are."""
    areas = np.bincount(top.part, _areas(vertices, top.faces), top.parts)
    specks = areas < _SPECK * whole
    return specks if areas[specks].sum() < _SPECKS_MOST * whole else np.zeros(top.parts, bool)


def _torn(vertices: FloatArray, top: Topology, near: float, specks: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Parts whose open edges run along another part's open edges: pieces of one surface, not bodies with holes."""
    torn = np.zeros(top.parts, bool)
    bare = np.flatnonzero((top.twins < 0) & ~top.crowded & ~np.repeat(specks[top.part], 3))
    if not len(bare) or top.parts < 2:
        return torn
    from scipy.spatial import cKDTree

    part, corner = top.part[bare // 3], bare % 3
    a, b = vertices[top.faces[bare // 3, corner]], vertices[top.faces[bare // 3, (corner + 1) % 3]]
    middle = (a + b) / 2
    count = min(16, len(middle))
    gap, other = cKDTree(middle).query(middle, k=count, distance_upper_bound=near)
    foreign = np.isfinite(gap) & (np.append(part, -1)[other] != part[:, None])
    touched = np.bincount(part[foreign.any(axis=1)], minlength=top.parts)
    return touched > 0.1 * np.bincount(part, minlength=top.parts)


def _cracks_closed(vertices: FloatArray, faces: IntArray, near: float) -> tuple[FloatArray, IntArray]:
    """Weld vertices on open edges that lie nearer than `near`; each group moves to its first vertex."""
    top = topology(vertices, faces)
    bare = np.flatnonzero(top.twins < 0)
    if not len(bare):
        return vertices, faces
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    rim = np.unique(np.concatenate([top.faces[bare // 3, bare % 3], top.faces[bare // 3, (bare + 1) % 3]]))
    pairs = cKDTree(vertices[rim]).query_pairs(near, output_type="ndarray")
    if not len(pairs):
        return vertices, faces
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(rim), len(rim)))
    _, group = connected_components(links, directed=False)
    first = np.full(group.max() + 1, len(rim))
    np.minimum.at(first, group, np.arange(len(rim)))
    new = np.arange(len(vertices), dtype=np.int32)
    new[rim] = rim[first[group]]
    again = weld(vertices, new[faces])
    return again.vertices, again.faces


def _own_twins(top: Topology, members: npt.NDArray[np.intp]) -> IntArray:
    """Twins of a part's half-edges, numbered within the part."""
    place = np.full(len(top.faces), -1, np.int64)
    place[members] = np.arange(len(members))
    twins = top.twins.reshape(-1, 3)[members].ravel()
    return np.where(twins >= 0, 3 * place[twins // 3] + twins % 3, -1).astype(np.int32)


def _areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    corners = vertices[faces]
    return np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2


def _stacked(parts: list[IntArray]) -> IntArray:
    return np.vstack(parts).astype(np.int32) if parts else np.empty((0, 3), np.int32)
