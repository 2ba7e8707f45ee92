"""Columns along a pull: the lowest and highest point of the offset body over a raster, drafted or not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from shellgen.envelope.raster import FloatArray, Grid
from shellgen.parting.offset_body import IntArray, OffsetBody

EMPTY = 1e9  # stands for "no body in this column": upper = -EMPTY, lower = +EMPTY
NODES_ALONG = 100
TURN_DEG = 17.31


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """The offset body seen along one pull.

    axes : (3, 3), rows are the pull frame's x, y, z in the mold frame (z the pull). grid : raster in that frame.
    upper_mm, lower_mm : (rows, columns) highest and lowest point of the body, -EMPTY and +EMPTY outside its shadow.
    drafted_upper_mm, drafted_lower_mm : the same with the walls laid to the draft: what the jacket's outside does;
    they reach beyond the shadow. volume_mm3 : of the body in these columns. odd_columns : share of the shadow's
    columns in which the surface does not close (0 for a sound body).
    """

    axes: FloatArray
    grid: Grid
    upper_mm: FloatArray
    lower_mm: FloatArray
    drafted_upper_mm: FloatArray
    drafted_lower_mm: FloatArray
    volume_mm3: float
    odd_columns: float

    @property
    def cell_mm2(self) -> float:
        """Plan area of one column."""
        return self.grid.pitch_mm**2


def pull_axes(pull: FloatArray) -> FloatArray:
    """Rows x, y, z of a right-handed pull frame: z along `pull`, y as near to the mold's up as it can be.

    For a pull along the mold's z, y is the mold's y.
    """
    z = np.asarray(pull, float) / np.linalg.norm(pull)
    up = np.array([0.0, 0.0, 1.0]) if abs(z[2]) < 1 - 1e-9 else np.array([0.0, 1.0, 0.0])
    y = up - (up @ z) * z
    y /= np.linalg.norm(y)
    return np.array([np.cross(y, z), y, z])


def _turned(axes: FloatArray, turn_deg: float) -> FloatArray:
    """A pull frame turned about its own z."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([c * axes[0] + s * axes[1], c * axes[1] - s * axes[0], axes[2]])


@njit(cache=True, nogil=True)
def _edge(ax: float, ay: float, bx: float, by: float, x: float, y: float) -> float:
    return (bx - ax) * (y - ay) - (by - ay) * (x - ax)


@njit(cache=True, nogil=True)
def look_through(
    points: FloatArray, faces: IntArray, upper: FloatArray, lower: FloatArray, signed: FloatArray, parity: IntArray
) -> None:
    """Draw triangles into a z-buffer from above and below at once.

    points : (n, 3), x and y in nodes of the raster. upper, lower, signed, parity : (rows, columns), filled in place:
    highest and lowest hit, sum of sign(nz)·z (the column's volume) and of sign(nz) (0 where the surface closes).
    Shared edges are judged by the same arithmetic from both sides, so that no column slips between two triangles.
    """
    rows, columns = upper.shape
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, bx, by, cx, cy = points[a, 0], points[a, 1], points[b, 0], points[b, 1], points[c, 0], points[c, 1]
        j0, j1 = max(0, int(np.ceil(min(ax, bx, cx)))), min(columns - 1, int(np.floor(max(ax, bx, cx))))
        if j0 > j1:
            continue
        i0, i1 = max(0, int(np.ceil(min(ay, by, cy)))), min(rows - 1, int(np.floor(max(ay, by, cy))))
        if i0 > i1:
            continue
        area = _edge(ax, ay, bx, by, cx, cy)
        if area == 0.0:
            continue
        side = 1 if area > 0 else -1
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                wa = _edge(bx, by, cx, cy, j, i) if b < c else -_edge(cx, cy, bx, by, j, i)
                wb = _edge(cx, cy, ax, ay, j, i) if c < a else -_edge(ax, ay, cx, cy, j, i)
                wc = _edge(ax, ay, bx, by, j, i) if a < b else -_edge(bx, by, ax, ay, j, i)
                if (wa > 0) != (area > 0) or (wb > 0) != (area > 0) or (wc > 0) != (area > 0):
                    continue
                z = (wa * points[a, 2] + wb * points[b, 2] + wc * points[c, 2]) / (wa + wb + wc)
                upper[i, j] = max(upper[i, j], z)
                lower[i, j] = min(lower[i, j], z)
                signed[i, j] += side * z
                parity[i, j] += side


@njit(cache=True, nogil=True)
def _spread(base: FloatArray, out: FloatArray, source: IntArray, slope: float, i: int, j: int, m: int, n: int) -> None:
    """Let node (i, j) take the cone of the source that node (m, n) has, if that is higher."""
    if n < 0 or n >= base.shape[1]:
        return
    s, t = source[m, n, 0], source[m, n, 1]
    if s < 0:
        return
    drop = base[s, t] - out[i, j]
    if drop <= slope:
        return
    square = slope * slope * ((s - i) ** 2 + (t - j) ** 2)
    if drop * drop > square:
        out[i, j] = base[s, t] - np.sqrt(square)
        source[i, j, 0] = s
        source[i, j, 1] = t


@njit(cache=True, nogil=True)
def cone_envelope(heights: FloatArray, slope: float) -> FloatArray:
    """Least field >= heights whose cones fall by `slope` per node: each node remembers the node its cone stands on.

    heights : (rows, columns); values of -EMPTY are no sources. One pass down and one up, each row in both directions
    (the nearest-source transform with eight neighbours).
    """
    rows, columns = heights.shape
    out = heights.copy()
    source = np.empty((rows, columns, 2), np.int32)
    for i in range(rows):
        for j in range(columns):
            source[i, j, 0] = i if heights[i, j] > -0.5 * EMPTY else -1
            source[i, j, 1] = j
    for step in (1, -1):
        for a in range(rows):
            i = a if step > 0 else rows - 1 - a
            before = i - step
            for j in range(columns):
                if a > 0:
                    _spread(heights, out, source, slope, i, j, before, j)
                    _spread(heights, out, source, slope, i, j, before, j - 1)
                    _spread(heights, out, source, slope, i, j, before, j + 1)
                _spread(heights, out, source, slope, i, j, i, j - 1)
            for j in range(columns - 1, -1, -1):
                _spread(heights, out, source, slope, i, j, i, j + 1)
    return out


@njit(cache=True, nogil=True)
def _foot_cones(
    points: FloatArray, sign: float, lowest: float, slope: float, pitch: float, heights: FloatArray
) -> None:
    """Raise `heights` at the four nodes round every vertex to the cone that stands on the vertex (z times `sign`)."""
    rows, columns = heights.shape
    for p in range(points.shape[0]):
        x, y, z = points[p, 0], points[p, 1], sign * points[p, 2]
        if y < lowest:
            continue
        j0, i0 = int(np.floor(x)), int(np.floor(y))
        for i in range(max(i0, 0), min(i0 + 2, rows)):
            for j in range(max(j0, 0), min(j0 + 2, columns)):
                cone = z - slope * pitch * np.sqrt((x - j) ** 2 + (y - i) ** 2)
                if cone > heights[i, j]:
                    heights[i, j] = cone


def _drafted(
    points: FloatArray, heights: FloatArray, sign: float, lowest: float, slope: float, pitch: float
) -> FloatArray:
    """Highest points (z times `sign`), with every wall laid to `slope` [mm/mm] outwards."""
    raised = heights.copy()
    _foot_cones(points, sign, lowest, slope, pitch, raised)
    return cone_envelope(raised, slope * pitch)


def columns_along(
    body: OffsetBody,
    pull: FloatArray,
    *,
    draft_deg: float = 0.0,
    on_board: bool = False,
    nodes_along: int = NODES_ALONG,
) -> Columns:
    """Look through the offset body along `pull`.

    pull : (3,) any length. draft_deg : least slope of the jacket's walls to the pull; 0 leaves them upright. on_board
    : nothing below mold z = 0 counts (the pull must be level then). nodes_along : raster nodes on the shadow's
    longest side.

    The raster starts at an irrational fraction of its pitch and is turned about the pull, so that straight walls meet
    its nodes at every phase; on a board its rows are level and stand half a pitch above z = 0, so that they measure
    the space above the board exactly.
    """
    axes = pull_axes(pull) if on_board else _turned(pull_axes(pull), TURN_DEG)
    x, y, z = body.vertices_mm.T
    turned = [a * x + b * y + c * z for a, b, c in axes]  # a matrix product would start threads of its own
    counted = [part[turned[1] >= 0] for part in turned] if on_board else turned
    low, high = (np.array([end(counted[0]), end(counted[1])]) for end in (np.min, np.max))
    pitch = float((high - low).max() / nodes_along)
    tangent = float(np.tan(np.radians(draft_deg)))
    margin = 2 * pitch + tangent * float(np.ptp(counted[2]))
    ahead = np.ceil(margin / pitch)
    x0 = float(low[0] - (ahead + np.sqrt(2) - 1) * pitch)
    y0 = pitch / 2 if on_board else float(low[1] - (ahead + np.sqrt(3) - 1) * pitch)
    columns = int(np.ceil((high[0] + margin - x0) / pitch)) + 1
    rows = int(np.ceil((high[1] + margin - y0) / pitch)) + 1
    points = np.column_stack([(turned[0] - x0) / pitch, (turned[1] - y0) / pitch, turned[2]])
    upper = np.full((rows, columns), -EMPTY)
    lower = np.full((rows, columns), EMPTY)
    signed = np.zeros((rows, columns))
    parity = np.zeros((rows, columns), np.int32)
    look_through(points, body.faces, upper, lower, signed, parity)
    shadow = upper > -EMPTY
    odd = parity != 0
    inside = np.where(odd, np.where(shadow, upper - lower, 0.0), signed)
    top, bottom = upper, lower
    if tangent > 0:
        lowest = -0.5 if on_board else -np.inf
        top = _drafted(points, upper, 1.0, lowest, 1 / tangent, pitch)
        bottom = -_drafted(points, -lower, -1.0, lowest, 1 / tangent, pitch)
    share = float(np.count_nonzero(odd)) / max(float(np.count_nonzero(shadow)), 1.0)
    volume = float(inside.sum()) * pitch**2
    return Columns(axes, Grid(x0, y0, pitch, rows, columns), upper, lower, top, bottom, volume, share)
