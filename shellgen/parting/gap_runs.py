"""A solid as runs: in every column of a raster the stretches inside it, and which of them touch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray, Grid
from shellgen.parting.merge_tree import IndexArray
from shellgen.parting.offset_body import IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Stretches [bottom, top] of columns inside a closed mesh, sorted by column and then upwards.

    node : (k,) flat index of the column on `grid`. first, second, level_mm : (m,) pairs of runs in neighbouring
    columns that overlap, and the top of their overlap: air or rubber passes between them up to there.
    """

    grid: Grid
    node: IndexArray
    bottom_mm: FloatArray
    top_mm: FloatArray
    first: IndexArray
    second: IndexArray
    level_mm: FloatArray

    def place(self, run: int) -> FloatArray:
        """Top of a run as a point (3,)."""
        i, j = divmod(int(self.node[run]), self.grid.columns)
        return np.array([self.grid.x_mm[j], self.grid.y_mm[i], self.top_mm[run]])

    def inside(self, point: FloatArray) -> bool:
        """Whether a point (3,) lies in a run of its nearest column."""
        j = round((point[0] - self.grid.x0_mm) / self.grid.pitch_mm)
        i = round((point[1] - self.grid.y0_mm) / self.grid.pitch_mm)
        if not (0 <= i < self.grid.rows and 0 <= j < self.grid.columns):
            return False
        here = self.node == i * self.grid.columns + j
        return bool((here & (self.bottom_mm <= point[2]) & (self.top_mm >= point[2])).any())


def raster_over(vertices: FloatArray, pitch_mm: float) -> Grid:
    """A raster that covers points (n, 3) in plan, its nodes off round numbers."""
    low, high = vertices[:, :2].min(0), vertices[:, :2].max(0)
    x0, y0 = low - pitch_mm * np.array([np.sqrt(2) - 1, np.sqrt(3) - 1])
    columns, rows = (np.ceil((high - [x0, y0]) / pitch_mm) + 1).astype(int)
    return Grid(float(x0), float(y0), pitch_mm, int(rows), int(columns))


def _hits(vertices: FloatArray, faces: IntArray, grid: Grid) -> tuple[IndexArray, FloatArray, IndexArray]:
    """Column, height and direction (+1 where the surface faces up) of every crossing of a column with a triangle."""
    x = (vertices[:, 0] - grid.x0_mm) / grid.pitch_mm
    y = (vertices[:, 1] - grid.y0_mm) / grid.pitch_mm
    ordered = np.sort(faces, axis=1)  # shared edges are judged the same way from both sides
    turns = np.where(_odd(faces), -1, 1)
    tx, ty = x[ordered], y[ordered]
    j0, j1 = np.maximum(np.ceil(tx.min(1)), 0), np.minimum(np.floor(tx.max(1)), grid.columns - 1)
    i0, i1 = np.maximum(np.ceil(ty.min(1)), 0), np.minimum(np.floor(ty.max(1)), grid.rows - 1)
    wide, tall = (j1 - j0 + 1).clip(0).astype(int), (i1 - i0 + 1).clip(0).astype(int)
    count = wide * tall
    face = np.repeat(np.arange(len(faces)), count)
    inner = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    j = j0[face] + inner % np.maximum(wide[face], 1)
    i = i0[face] + inner // np.maximum(wide[face], 1)
    (ax, bx, cx), (ay, by, cy) = tx[face].T, ty[face].T
    wc = (bx - ax) * (i - ay) - (by - ay) * (j - ax) > 0
    wa = (cx - bx) * (i - by) - (cy - by) * (j - bx) > 0
    wb = (cx - ax) * (i - ay) - (cy - ay) * (j - ax) > 0  # edge a to c, so its sign is turned below
    hit = (wc == wa) & (wa != wb)
    face, i, j = face[hit], i[hit], j[hit]
    (ax, bx, cx), (ay, by, cy) = tx[face].T, ty[face].T
    az, bz, cz = vertices[:, 2][ordered[face]].T
    area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    s = ((j - ax) * (cy - ay) - (i - ay) * (cx - ax)) / area
    t = ((bx - ax) * (i - ay) - (by - ay) * (j - ax)) / area
    facing = np.where(area > 0, 1, -1) * turns[face]
    return (i * grid.columns + j).astype(np.int64), az + s * (bz - az) + t * (cz - az), facing


def _odd(faces: IntArray) -> npt.NDArray[np.bool_]:
    """Faces whose corners are an odd permutation of their sorted order."""
    a, b, c = faces.T
    return np.asarray(((a > b).astype(int) + (b > c) + (a > c)) % 2 == 1)


def runs_of(vertices: FloatArray, faces: IntArray, grid: Grid) -> Runs:
    """Runs of a closed mesh with outward normals (n, 3), (m, 3) over a raster, z upwards.

    Columns in which the surface does not close are left out.
    """
    node, z, facing = _hits(vertices, faces, grid)
    order = np.lexsort((z, node))
    node, z, facing = node[order], z[order], facing[order]
    total = np.bincount(node, facing, grid.rows * grid.columns)
    sound = total[node] == 0
    node, z, facing = node[sound], z[sound], facing[sound]
    depth = np.cumsum(-facing)  # each column sums to 0, so the running sum starts afresh in each
    starts = np.flatnonzero((depth == 1) & (facing == -1))
    ends = np.flatnonzero((depth == 0) & (facing == 1))
    solid = z[ends] > z[starts]
    column, bottom, top = node[starts][solid], z[starts][solid], z[ends][solid]
    first, second = _touching(column, bottom, top, grid)
    return Runs(grid, column, bottom, top, first, second, np.minimum(top[first], top[second]))


def _touching(column: IndexArray, bottom: FloatArray, top: FloatArray, grid: Grid) -> tuple[IndexArray, IndexArray]:
    """Pairs of runs in columns side by side that overlap."""
    nodes = grid.rows * grid.columns
    count = np.bincount(column, minlength=nodes)
    start = np.cumsum(count) - count
    pairs = []
    for step in (1, grid.columns):
        there = column + step
        ok = there < nodes
        if step == 1:
            ok &= column % grid.columns < grid.columns - 1
        here = np.flatnonzero(ok)
        for k in range(int(count.max(initial=0))):
            mine = here[k < count[there[here]]]
            other = start[there[mine]] + k
            overlap = np.maximum(bottom[mine], bottom[other]) < np.minimum(top[mine], top[other])
            pairs.append((mine[overlap], other[overlap]))
    return np.concatenate([p[0] for p in pairs]), np.concatenate([p[1] for p in pairs])
