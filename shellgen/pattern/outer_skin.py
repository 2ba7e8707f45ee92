"""An outer skin round triangles of any kind: sheets, tangles, torn surfaces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.pattern.bodies import Solid, solid_from, triangles_of
from shellgen.pattern.deviation import distances_mm, samples
from shellgen.pattern.flood import RADII, Mask, outside, without_islands
from shellgen.pattern.hull_mesh import boundary, normals, smoothed, split_edges
from shellgen.pattern.orient import snapped
from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.topology import split_fans, topology
from shellgen.pattern.voxels import Cells, sorted_into_cells

_STEPS, _MORE_STEPS, _CELLS_MOST, _CELL_LEAST_MM = 300, 900, 16_000_000, 0.3
_COARSE_MM = 3.0  # cells of large patterns are no larger than this where their number allows it: they round off rims
_SHEET_MM = (0.3, 0.8)  # least thickness given to a sheet: one cell within these bounds
_REACH = 3  # cells: skin further than this from the surface bridges a hole
_OFF_MM = 0.08  # edges whose middle lies further off the surface are split
_SIMPLER_MM = 0.02
_ISLAND = 1e-3
_PAD, _BELOW = RADII[-1] + 2, 3  # cells round the grid, so that the widest ball passes there; below a board


@dataclass(frozen=True, slots=True, eq=False)
class OuterSkin:
    """A closed skin as a solid. vertices : its (n, 3); bridged : its faces (k, 3) that lie off the given triangles.

    cell_mm : of the flood. closed_mm : holes and gaps up to this width were bridged. error_mm : 99 of 100 points on
    the outside of the given triangles lie within this of the skin.
    """

    solid: Solid
    vertices: FloatArray
    bridged: IntArray
    cell_mm: float
    closed_mm: float
    error_mm: float

    def says(self) -> str:
        """One line on what was done."""
        shut = f", gaps up to {self.closed_mm:.1f} mm bridged" if self.closed_mm else ""
        return (
            f"Not a closed surface: an outer skin was drawn round it in cells of {self.cell_mm:.2f} mm{shut}; "
            f"99 of 100 points of the surface lie within {self.error_mm:.2f} mm of it."
        )


def outer_skin(vertices: FloatArray, faces: IntArray, *, board: bool) -> OuterSkin | None:
    """Flood from outside through cells round the triangles; draw the flood's edge onto them.

    vertices : (n, 3) mm, faces : (m, 3), in any state. board : nothing below z = 0, and the flood does not come in
    from there; the skin then reaches below z = 0, to be trimmed there. None if the triangles leave no solid.
    """
    if not len(faces):
        return None
    low, high = vertices[faces].min((0, 1)), vertices[faces].max((0, 1))
    longest = float((high - low).max())
    cell = max(min(longest / _STEPS, max(_COARSE_MM, longest / _MORE_STEPS)), _CELL_LEAST_MM)
    cell = max(cell, float(np.prod(high - low + 2 * _PAD * cell) / _CELLS_MOST) ** (1 / 3))
    origin = low - (_PAD + 0.37) * cell  # off the round numbers that modelled faces lie on
    if board:
        origin[2] = 0.0
    shape = tuple((np.ceil((high - origin) / cell).astype(int) + _PAD).tolist())
    cells = sorted_into_cells(vertices, faces, origin, cell, shape)
    occupied = cells.occupied()
    out, radius = outside(occupied, board=board)
    cells_in = without_islands(~out, _ISLAND)
    below = _BELOW if board else 0
    padded = np.pad(np.pad(cells_in, ((0, 0), (0, 0), (below, 0)), mode="edge"), 1)
    if board:
        padded[:, :, : below - 1] = False
    points, hull = boundary(padded)
    if not len(hull):
        return None
    top = topology(points, hull)
    points, hull = split_fans(points, top.faces, top.twins)
    points = origin + (points - [1, 1, 1 + below]) * cell
    drawn, hull = _drawn(points, hull, cells, padded, origin - np.array([1, 1, 1 + below]) * cell, board)
    solid = solid_from(snapped(drawn), hull)
    if solid is None:
        return None
    solid = solid.simplify(_SIMPLER_MM)
    drawn, hull = triangles_of(solid)
    middle = np.vstack([drawn, drawn[hull].mean(axis=1)])
    far = cells.nearest(middle, 1)[1] > _OFF_MM + _SIMPLER_MM
    bridged = far[hull].any(axis=1) | far[len(drawn) :]
    error = _error(vertices, faces, drawn, hull, out, cells)
    return OuterSkin(solid, drawn, hull[bridged], cell, 2 * radius * cell, error)


def _drawn(
    points: FloatArray, hull: IntArray, cells: Cells, solid: Mask, corner: FloatArray, board: bool
) -> tuple[FloatArray, IntArray]:
    """Draw the cells' boundary onto the surface, splitting edges where that bends: (points, faces)."""
    moving = np.ones(len(points), bool)
    points = smoothed(points, hull, 3, moving)
    for turn in range(2):
        target, off = _targets(points, hull, cells, solid, corner, board)
        if turn == 0:
            points = smoothed(np.where(np.isfinite(off)[:, None], target, points), hull, 1, moving)
    bridge = ~np.isfinite(off)
    points = np.where(bridge[:, None], points, target)
    points = smoothed(points, hull, 10, bridge)
    for _ in range(3):
        top = topology(points, hull)
        hull = top.faces
        half = np.arange(3 * len(hull))
        a, b = hull[half // 3, half % 3], hull[half // 3, (half % 3 + 1) % 3]
        once = (half < top.twins) & ~bridge[a] & ~bridge[b]
        middle = (points[a[once]] + points[b[once]]) / 2
        _, gap = cells.nearest(middle, 1)
        marked = np.zeros(len(half), bool)
        apart = np.maximum(off[a[once]], off[b[once]])
        marked[half[once]] = np.isfinite(gap) & (gap > _OFF_MM + apart)
        if not marked.any():
            break
        hull, ends = split_edges(hull, top.twins, marked, len(points))
        fresh = np.arange(len(points), len(points) + len(ends))
        points = np.vstack([points, (points[ends[:, 0]] + points[ends[:, 1]]) / 2])
        target, new_off = _targets(points, hull, cells, solid, corner, board, fresh)
        good = np.isfinite(new_off)
        points[fresh[good]] = target[good]
        off, bridge = np.concatenate([off, new_off]), np.concatenate([bridge, ~good])
    return points, hull


def _targets(
    points: FloatArray,
    hull: IntArray,
    cells: Cells,
    solid: Mask,
    corner: FloatArray,
    board: bool,
    which: npt.NDArray[np.intp] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Where skin points belong, on the surface or half a sheet off it: (targets, distance off, infinite on bridges)."""
    which = np.arange(len(points)) if which is None else which
    start = points[which]
    cell = cells.cell_mm
    found, gap = cells.nearest(start, _REACH)
    normal = normals(points, hull)[which]
    sheet = float(np.clip(cell, *_SHEET_MM))
    thin = np.isfinite(gap) & _open_behind(found, normal, solid, corner, cell)
    off = np.where(np.isfinite(gap), 0.0, np.inf)
    if thin.any():
        behind = found[thin] - sheet * normal[thin]
        _, clear = cells.nearest(behind, 2)
        missing = np.minimum(clear, sheet)  # a second wall nearer than the sheet's thickness fills part of it
        found[thin] += 0.5 * missing[:, None] * normal[thin]
        off[thin] = 0.5 * missing
    if board:
        off[start[:, 2] < 0] = np.inf
    return found, off


def _open_behind(found: FloatArray, normal: FloatArray, solid: Mask, corner: FloatArray, cell: float) -> Mask:
    """Whether the cells end within 2.2 cells behind the surface: the solid is a sheet there."""
    thin = np.zeros(len(found), bool)
    for depth in (1.0, 1.6, 2.2):
        at = np.floor((found - depth * cell * normal - corner) / cell).astype(int)
        at = np.clip(at, 0, np.array(solid.shape) - 1)
        thin |= ~solid[at[:, 0], at[:, 1], at[:, 2]]
    return thin


def _error(vertices: FloatArray, faces: IntArray, skin: FloatArray, hull: IntArray, out: Mask, cells: Cells) -> float:
    """99th percentile of the distance from points on the outside of the triangles to the skin."""
    points = samples(vertices, faces)
    at = np.floor((points - cells.origin_mm) / cells.cell_mm).astype(int)
    seen = np.zeros(len(points), bool)
    for axis in range(3):
        for step in (-1, 1):
            near = at.copy()
            near[:, axis] += step
            near = np.clip(near, 0, np.array(cells.shape) - 1)
            seen |= out[near[:, 0], near[:, 1], near[:, 2]]
    if not seen.any():
        return 0.0
    return float(np.quantile(distances_mm(points[seen], skin, hull, 3 * cells.cell_mm), 0.99))
