"""Plane sections of closed triangle meshes, as rings of points. Lengths mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray
from shellgen.solid.recipe import Point


@dataclass(frozen=True, slots=True)
class Plane:
    """A cutting plane seen from the side its normal points to: unit axes right and up, normal = cross(right, up)."""

    origin: Point
    right: Point
    up: Point

    @property
    def axes(self) -> FloatArray:
        """(3, 3): rows right, up, normal."""
        return np.array([self.right, self.up, np.cross(self.right, self.up)])

    def to_plane(self, points_mm: FloatArray) -> FloatArray:
        """(n, 3) mold points to (n, 3): right, up, height over the plane."""
        return (np.asarray(points_mm, float) - np.array(self.origin)) @ self.axes.T

    def to_mold(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) points of the plane to (n, 3) mold points."""
        return np.asarray(points_mm, float) @ self.axes[:2] + np.array(self.origin)


def slice_mesh(vertices_mm: FloatArray, faces: IntArray, plane: Plane) -> list[FloatArray]:
    """Where a plane cuts a closed mesh: rings (k, 2) in the plane's axes, material on the left, end not repeated.

    Every triangle that crosses has one edge by which the cut enters and one by which it leaves; neighbours share them,
    so rings follow from indices alone. A vertex in the plane counts as above it: keep the plane off coplanar faces,
    whose rounding noise it would trace. Rings that run into an open edge are left out.
    """
    height = np.asarray(vertices_mm, float) @ plane.axes[2] - float(np.dot(plane.origin, plane.axes[2]))
    above = height >= 0.0
    side = above[faces]
    cut = faces[side.any(1) & ~side.all(1)].astype(np.int64)
    if not len(cut):
        return []
    tails, heads = cut, np.roll(cut, -1, axis=1)
    rises = ~above[tails] & above[heads]
    falls = above[tails] & ~above[heads]
    rows = np.arange(len(cut))
    up, down = rises.argmax(1), falls.argmax(1)
    low_in, high_in = tails[rows, up], heads[rows, up]
    high_out, low_out = tails[rows, down], heads[rows, down]
    count = len(vertices_mm)
    enter, leave = low_in * count + high_in, low_out * count + high_out
    order_in, order_out = np.argsort(enter, kind="stable"), np.argsort(leave, kind="stable")
    following = np.full(len(cut), -1, np.int64)
    if np.array_equal(enter[order_in], leave[order_out]):
        following[order_in] = order_out
    else:
        place = np.searchsorted(leave[order_out], enter).clip(0, len(cut) - 1)
        match = leave[order_out][place] == enter
        following[match] = order_out[place[match]]
    share = (-height[low_in] / (height[high_in] - height[low_in]))[:, None]
    crossed = vertices_mm[low_in] * (1 - share) + vertices_mm[high_in] * share
    points = plane.to_plane(crossed)[:, :2]
    return [ring for ring in (points[chain] for chain in _chains(following)) if len(ring) > 2]


def _chains(following: npt.NDArray[np.int64]) -> list[list[int]]:
    """Closed chains of a successor table; open ones (at holes of the mesh) are dropped."""
    table = following.tolist()
    seen = [False] * len(table)
    chains = []
    for first in range(len(table)):
        if seen[first]:
            continue
        chain, at = [], first
        while at >= 0 and not seen[at]:
            seen[at] = True
            chain.append(at)
            at = table[at]
        if at == first:
            chains.append(chain)
    return chains


def ring_area(ring: FloatArray) -> float:
    """Signed area, positive counter-clockwise."""
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def area_of(rings: list[FloatArray]) -> BaseGeometry:
    """The rings as a valid (multi)polygon: even-odd filling, in order of falling size."""
    area: BaseGeometry = MultiPolygon()
    for ring in sorted(rings, key=lambda r: -abs(ring_area(r))):
        area = area.symmetric_difference(Polygon(ring).buffer(0))
    return area
