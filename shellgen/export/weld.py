"""Make a mesh survive a file format that keeps float32 coordinates and no connections.

A reader of STL rounds to float32 and joins equal points. Two sheets that lie closer than that rounding then share an
edge, and the solid is no longer a manifold. Here the rounding and joining is done first, and what it breaks is cured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.pattern.pattern import IntArray

DECIMALS = 5  # so that readers that join points by a tolerance of 1e-6 mm or less join nothing but equal points
ROUNDS = 12
SIMPLIFY_MM = (2e-4, 1e-3, 4e-3)  # tolerances tried where nudging alone does not cure; well under any printer

Longs = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class WeldReport:
    """What welding did.

    merged : points that became equal to another. dropped : triangles that lost their area. nudged : points moved to
    keep sheets apart, at most `nudge_mm`. simplified_mm : tolerance of the clean-up before, 0 where none was needed.
    pinched : points at which sheets still touch (harmless to readers, no edge is shared).
    """

    merged: int
    dropped: int
    nudged: int
    nudge_mm: float
    simplified_mm: float
    pinched: int


def weld_float32(vertices_mm: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, WeldReport]:
    """Round a closed mesh to float32 so that it stays a closed, consistently wound 2-manifold when points are joined.

    vertices_mm : (n, 3) [mm]; faces : (m, 3), closed and consistently wound. Returns vertices (float64 that hold
    float32 values exactly, no two equal), faces (int32), and a report. The input is not changed.
    Raises KernelError if the input is open, or the damage cannot be cured.
    """
    vertices = np.asarray(vertices_mm, float)
    triangles = np.asarray(faces, np.int64)
    if not len(triangles):
        raise KernelError("welding: the solid has no triangles; it vanished while it was made")
    tolerance = 0.0
    for again in (0.0, *SIMPLIFY_MM):
        tolerance = again
        if again:
            vertices, triangles = _simplified(vertices_mm, faces, again)
        found = _cured(vertices, triangles)
        if found is not None:
            points, joined, dropped, nudged, moved, pinched = found
            return (
                points,
                joined.astype(np.int32),
                WeldReport(
                    merged=len(vertices) - len(points),
                    dropped=dropped,
                    nudged=nudged,
                    nudge_mm=moved,
                    simplified_mm=tolerance,
                    pinched=pinched,
                ),
            )
    raise KernelError(
        f"welding: sheets of the solid stay joined after {ROUNDS} rounds and a clean-up at {tolerance} mm; "
        "choose another raster.pitch_mm or outputs.mesh_tolerance_mm"
    )


def _cured(vertices: FloatArray, faces: Longs) -> tuple[FloatArray, Longs, int, int, float, int] | None:
    """Weld, look for damage, nudge, repeat; None where it does not help."""
    moved = np.zeros(len(vertices), bool)
    work = vertices
    best: tuple[FloatArray, Longs, int, int, float, int] | None = None
    for turn in range(ROUNDS):
        points, group = joined_points(work)
        triangles, dropped = _without_collapsed(group[faces])
        bad, closed = _shared_edges(triangles, len(points))
        if not closed:
            raise KernelError("welding: the solid is not closed and consistently wound; this is a fault of its kernel")
        pinched = np.empty(0, np.int64) if len(bad) else _pinched(triangles, group, len(points))
        if not len(bad):
            far = float(np.abs(work[moved] - vertices[moved]).max()) if moved.any() else 0.0
            found = _compact(points, triangles)
            if best is None or len(pinched) < best[5]:
                best = (*found, dropped, int(moved.sum()), far, len(pinched))
            if not len(pinched):
                return best
        if turn == 0:
            normals = _point_normals(vertices, faces)
        work = work.copy() if work is vertices else work
        moved |= _nudge(work, vertices, normals, group, bad if len(bad) else pinched, turn)
    return best


def joined_points(vertices: FloatArray) -> tuple[FloatArray, Longs]:
    """Round to DECIMALS, then float32; returns the distinct points in order of first use, and each vertex's point."""
    rounded = (np.round(vertices, DECIMALS) + 0.0).astype(np.float32)
    bits = rounded.view(np.uint32).astype(np.uint64)
    mixed = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    for column in (1, 2):
        mixed = (mixed ^ (mixed >> np.uint64(29)) ^ bits[:, column]) * np.uint64(0xBF58476D1CE4E5B9)
    order = np.argsort(mixed, kind="stable")
    if _split_runs(mixed[order], rounded[order]):
        order = np.lexsort(rounded.T)
    in_order = rounded[order]
    first = np.concatenate([[True], (in_order[1:] != in_order[:-1]).any(1)])
    leader = np.minimum.reduceat(order, np.flatnonzero(first))  # stable within a run: the least index
    of_vertex = np.empty(len(order), np.int64)
    of_vertex[order] = leader[np.cumsum(first) - 1]
    if len(leader) == len(order):
        return rounded.astype(float), np.arange(len(order))
    keep, group = np.unique(of_vertex, return_inverse=True)
    return rounded[keep].astype(float), group.astype(np.int64)


def _split_runs(mixed: npt.NDArray[np.uint64], points: npt.NDArray[np.float32]) -> bool:
    """Whether two different points share a hash, so that sorting by hash may scatter equal points."""
    same = mixed[1:] == mixed[:-1]
    return bool((same & (points[1:] != points[:-1]).any(1)).any())


def _without_collapsed(faces: Longs) -> tuple[Longs, int]:
    """Drop triangles with two equal corners, and pairs of triangles that lie back to back."""
    a, b, c = faces.T
    kept = faces[(a != b) & (b != c) & (c != a)]
    while True:
        low, high = kept.min(1), kept.max(1)
        middle = kept.sum(1) - low - high
        n = int(kept.max()) + 1 if len(kept) else 1
        if n >= 2_000_000:  # three indices no longer fit into one 64 bit key
            keys = np.unique(np.stack([low, middle, high], 1), axis=0, return_inverse=True)[1].ravel()
        else:
            keys = (low * n + middle) * n + high
        ordered = np.sort(keys)
        twice = ordered[1:][ordered[1:] == ordered[:-1]]
        if not len(twice):
            return kept, len(faces) - len(kept)
        first = kept.argmin(1)
        turns = np.take_along_axis(kept, ((first + 1) % 3)[:, None], 1).ravel() == middle
        drop = np.zeros(len(kept), bool)
        for key in np.unique(twice):
            here = np.flatnonzero(keys == key)
            one, other = here[turns[here]], here[~turns[here]]
            pairs = min(len(one), len(other))
            drop[one[:pairs]] = drop[other[:pairs]] = True
        if not drop.any():
            return kept, len(faces) - len(kept)
        kept = kept[~drop]


def _shared_edges(faces: Longs, n: int) -> tuple[Longs, bool]:
    """Edges (k, 2) used by more than two triangles; and whether each edge is used as often one way as the other."""
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    forward = start < end
    keys = (np.minimum(start, end) * n + np.maximum(start, end)) * 2 + forward
    keys.sort()
    if len(keys) % 2 == 0 and (keys[::2] + 1 == keys[1::2]).all() and (keys[:-2:2] != keys[2::2]).all():
        return np.empty((0, 2), np.int64), True
    edges, where = np.unique(keys >> 1, return_inverse=True)
    balance = np.bincount(where.ravel(), weights=np.where(keys & 1, 1.0, -1.0))
    bad = edges[np.bincount(where.ravel()) > 2]
    return np.stack([bad // n, bad % n], 1), bool((balance == 0).all())


def _pinched(faces: Longs, group: Longs, n: int) -> Longs:
    """Points where joining made two fans of triangles meet (no shared edges assumed)."""
    if n == len(group):
        return np.empty(0, np.int64)
    suspect = np.bincount(group, minlength=n) > 1
    near = faces[suspect[faces].any(1)]
    found = []
    corners: dict[int, dict[int, int]] = {}
    for triangle in near.tolist():
        for i in range(3):
            if suspect[triangle[i]]:
                corners.setdefault(triangle[i], {})[triangle[(i + 1) % 3]] = triangle[(i + 2) % 3]
    for point, follows in corners.items():
        start = at = next(iter(follows))
        steps = 0
        while True:
            at, steps = follows[at], steps + 1
            if at == start or at not in follows:
                break
        if steps != len(follows):
            found.append(point)
    return np.array(sorted(found), np.int64)


def _point_normals(vertices: FloatArray, faces: Longs) -> FloatArray:
    """Area weighted normals of the vertices as they came, (n, 3), unit or zero."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    square = np.cross(b - a, c - a)
    out = np.stack([sum(np.bincount(faces[:, i], square[:, k], len(vertices)) for i in range(3)) for k in range(3)], 1)
    length = np.linalg.norm(out, axis=1)
    return out / np.where(length > 0, length, 1.0)[:, None]


def _nudge(
    work: FloatArray, vertices: FloatArray, normals: FloatArray, group: Longs, bad: Longs, turn: int
) -> npt.NDArray[np.bool_]:
    """Move all but one vertex of each damaged point by a few float32 steps, in place; returns which.

    The way is the one in which the vertex lay from the first of its point before rounding; where both lay in the very
    same place, inwards, so that two lumps that touch part.
    """
    moved = np.zeros(len(work), bool)
    damaged = np.zeros(int(group.max()) + 1, bool)
    damaged[bad.ravel()] = True
    members = np.flatnonzero(damaged[group])
    members = members[np.argsort(group[members], kind="stable")]
    first = np.concatenate([[True], group[members][1:] != group[members][:-1]])
    leaders = members[np.flatnonzero(first)][np.cumsum(first) - 1]
    for vertex, leader in zip(members[~first].tolist(), leaders[~first].tolist(), strict=True):
        way = vertices[vertex] - vertices[leader]
        reach = float(np.abs(way).max())
        way = way / reach if reach > 1e-12 else -normals[vertex]
        step = max(float(np.spacing(np.abs(work[vertex]).max().astype(np.float32))), 10.0**-DECIMALS)
        sign = 1.0 if turn < ROUNDS // 2 else -1.0
        work[vertex] = work[vertex] + sign * way * step * (1.0 + turn % (ROUNDS // 2)) * 1.01
        moved[vertex] = True
    return moved


def _compact(points: FloatArray, faces: Longs) -> tuple[FloatArray, Longs]:
    """Drop points that no triangle uses."""
    used = np.zeros(len(points), bool)
    used[faces.ravel()] = True
    if used.all():
        return points, faces
    return points[used], (np.cumsum(used) - 1)[faces]


def _simplified(vertices: FloatArray, faces: IntArray, tolerance_mm: float) -> tuple[FloatArray, Longs]:
    """The solid with edges shorter than the tolerance collapsed by the mesh kernel."""
    import manifold3d as m3

    mesh = m3.Mesh64(np.array(vertices, np.float64, order="C"), np.array(faces, np.uint64, order="C"))
    solid = m3.Manifold(mesh)
    if solid.status() != m3.Error.NoError:
        raise KernelError(f"welding: the mesh kernel refuses the solid ({solid.status().name})")
    out = solid.simplify(tolerance_mm).to_mesh64()
    return np.asarray(out.vert_properties[:, :3], float), np.asarray(out.tri_verts, np.int64)
