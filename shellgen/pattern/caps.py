"""Cap the holes of a mesh: flat ones in their plane, small bent ones with the least area, others as a fan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import Point, Polygon

from shellgen.pattern.pattern import FloatArray, IntArray

_FLAT = 0.02  # of a loop's breadth: how far it may leave its plane to count as flat
_LEAST_AREA_MOST = 60  # corners: the search for the least area costs their cube


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """A loop turned so that its cap's normal is `normal`, in the cap's plane. number : of its vertices."""

    number: IntArray
    points: FloatArray
    middle: FloatArray
    normal: FloatArray
    breadth: float
    off_plane: float


def caps(vertices: FloatArray, loops: list[IntArray]) -> tuple[FloatArray, IntArray]:
    """Triangles that close the loops of one part: (vertices with fan centres appended, faces (k, 3)).

    loops : vertex numbers round each hole as its faces run; the caps run against them. Loops that lie in one plane
    inside another, the other way round, make one cap with holes.
    """
    rings = [_ring(vertices, loop[::-1]) for loop in loops]
    faces: list[IntArray] = []
    added: list[FloatArray] = []
    taken: set[int] = set()
    for i in sorted(range(len(rings)), key=lambda k: -rings[k].breadth):
        if i in taken:
            continue
        inside = [j for j in range(len(rings)) if j != i and j not in taken and _hole_of(rings[i], rings[j])]
        taken.update([i, *inside])
        flat = _in_plane([rings[i], *(rings[j] for j in inside)])
        if flat is None and inside:
            taken.difference_update(inside)
            flat = _in_plane([rings[i]])
        ring = rings[i]
        if flat is not None:
            faces.append(flat)
        elif len(ring.number) <= _LEAST_AREA_MOST:
            faces.append(_least_area(ring))
        else:
            centre = np.int32(len(vertices) + len(added))
            added.append(ring.middle)
            faces.append(np.column_stack([ring.number, np.roll(ring.number, -1), np.full(len(ring.number), centre)]))
    if not faces:
        return vertices, np.empty((0, 3), np.int32)
    return np.vstack([vertices, *added]) if added else vertices, np.vstack(faces).astype(np.int32)


def _ring(vertices: FloatArray, number: IntArray) -> _Ring:
    points = vertices[number]
    middle = points.mean(axis=0)
    arms = points - middle
    normal = np.cross(arms, np.roll(arms, -1, axis=0)).sum(axis=0)  # twice the vector area (Newell)
    length = float(np.linalg.norm(normal))
    breadth = float(np.ptp(points, axis=0).max())
    if length <= 1e-12 * breadth**2:
        return _Ring(number, points, middle, np.array([0.0, 0.0, 1.0]), breadth, np.inf)
    normal = normal / length
    return _Ring(number, points, middle, normal, breadth, float(np.abs(arms @ normal).max()))


def _plane_axes(normal: FloatArray) -> FloatArray:
    """(2, 3): axes across a normal, right-handed with it."""
    side = np.zeros(3)
    side[int(np.argmin(np.abs(normal)))] = 1.0
    first = np.cross(side, normal)
    first = first / np.linalg.norm(first)
    return np.array([first, np.cross(normal, first)])


def _hole_of(outer: _Ring, inner: _Ring) -> bool:
    """Whether the inner loop is a hole in the outer one's cap: flat, one plane, other way round, inside."""
    near = _FLAT * outer.breadth
    if outer.off_plane > near or inner.off_plane > near or inner.normal @ outer.normal > -0.99:
        return False
    if np.abs((inner.points - outer.middle) @ outer.normal).max() > near:
        return False
    axes = _plane_axes(outer.normal)
    figure = Polygon((outer.points - outer.middle) @ axes.T)
    return figure.is_valid and figure.contains(Point((inner.points[0] - outer.middle) @ axes.T))


def _in_plane(rings: list[_Ring]) -> IntArray | None:
    """Triangulate the rings in the first one's plane; None if they cross there or the kernel finds no way."""
    import manifold3d as m3

    outer = rings[0]
    if not np.isfinite(outer.off_plane) or outer.off_plane > 0.25 * outer.breadth:
        return None
    axes = _plane_axes(outer.normal)
    flat = [np.ascontiguousarray((ring.points - outer.middle) @ axes.T) for ring in rings]
    if not Polygon(flat[0], flat[1:]).is_valid:
        return None
    number = np.concatenate([ring.number for ring in rings])
    found = np.asarray(m3.triangulate(flat), np.int64).reshape(-1, 3)
    if len(found) != len(number) + 2 * (len(rings) - 1) - 2:
        return None
    return number[found]


def _least_area(ring: _Ring) -> IntArray:
    """The triangulation of a bent loop with the least area, by dynamic programming over its chords."""
    p, n = ring.points, len(ring.number)
    cost, choice = np.zeros((n, n)), np.zeros((n, n), np.int64)
    faces: list[tuple[int, int, int]] = []
    todo: list[tuple[int, int]] = [(0, n - 1)]
    for span in range(2, n):
        for i in range(n - span):
            k = i + span
            m = np.arange(i + 1, k)
            area = np.linalg.norm(np.cross(p[m] - p[i], p[k] - p[i]), axis=1)
            total = cost[i, m] + cost[m, k] + area
            best = int(np.argmin(total))
            cost[i, k], choice[i, k] = total[best], m[best]
    while todo:
        i, k = todo.pop()
        if k - i < 2:
            continue
        split = int(choice[i, k])
        faces.append((int(ring.number[i]), int(ring.number[split]), int(ring.number[k])))
        todo += [(i, split), (split, k)]
    return np.array(faces, np.int32)
