"""The undercut map: how much rubber lies over each point of the pattern beyond what was asked, for a given parting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.columns import Columns, columns_along
from shellgen.parting.crevices import with_crevices_filled
from shellgen.parting.plane_cost import PlaneCost, Workpiece
from shellgen.parting.stepped import step_along

KEEP_MM = 2.0
MOST_SPOTS = 8
BOARD_MM = 0.05  # vertices lower than this stand on the board
NODES = 200


@dataclass(frozen=True, slots=True)
class UndercutSpot:
    """A place where the rubber is thickest: on the pattern (mold frame), and the excess over the asked thickness."""

    at_mm: tuple[float, float, float]
    excess_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class UndercutMap:
    """excess_mm : (n,) per vertex of the pattern, 0 where the rubber is as thin as asked. spots : deepest first."""

    excess_mm: FloatArray
    spots: tuple[UndercutSpot, ...]


def _graph_points(columns: Columns, heights: FloatArray, parting: FloatArray) -> FloatArray:
    """Points (k, 3) of the graph of `heights` above `parting`, no farther apart than a pitch on steep walls."""
    grid = columns.grid
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    nodes = np.stack([x, y, heights, parting], axis=2)
    points = [nodes.reshape(-1, 4)]
    for a, b in ((nodes[:, :-1], nodes[:, 1:]), (nodes[:-1], nodes[1:])):
        start, end = a.reshape(-1, 4), b.reshape(-1, 4)
        top = np.maximum(start[:, 2], end[:, 2])
        level = np.minimum(start[:, 3], end[:, 3])
        seen = np.minimum(top - level, np.abs(end[:, 2] - start[:, 2]))  # height of wall above the parting
        steep = (top > level) & (seen > grid.pitch_mm)
        high = np.where((start[:, 2] >= end[:, 2])[:, None], start, end)[steep]
        low = np.where((start[:, 2] >= end[:, 2])[:, None], end, start)[steep]
        count = np.ceil(seen[steep] / grid.pitch_mm).astype(int)
        of = np.repeat(np.arange(len(count)), count)
        step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + 1
        fall = (step * grid.pitch_mm / (high[of, 2] - low[of, 2]))[:, None]
        points.append(high[of] + np.minimum(fall, 1.0) * (low[of] - high[of]))
    found = np.vstack(points)
    return found[found[:, 2] >= found[:, 3] - grid.pitch_mm / 2, :3]


def undercut_map(
    vertices: FloatArray,
    columns: Columns,
    parting_mm: float | FloatArray,
    *,
    thickness_mm: float,
    keep_mm: float = KEEP_MM,
    on_board: bool = False,
) -> UndercutMap:
    """Distance of every vertex to the outside of the filled jacket, less the thickness asked.

    vertices : (n, 3) of the pattern, mold frame. columns : of its offset body along the pull, drafted as the jacket
    is. parting_mm : the plane's offset, or heights (rows, columns) on the columns' raster. keep_mm : least excess of
    a spot. on_board : vertices on the board, at z = 0, have no rubber over them and count as 0.

    Good to about half the raster's pitch; what is within that of the thickness counts as 0.
    """
    from scipy.spatial import cKDTree

    shape = columns.upper_mm.shape
    parting = np.broadcast_to(np.asarray(parting_mm, float), shape)
    above = _graph_points(columns, columns.drafted_upper_mm, parting)
    below = _graph_points(columns, -columns.drafted_lower_mm, -parting) * [1, 1, -1]
    inside = np.einsum("ij,kj->ik", np.asarray(vertices, float), columns.axes)
    distance, _ = cKDTree(np.vstack([above, below])).query(inside, workers=2)
    excess = distance - thickness_mm
    excess[excess < columns.grid.pitch_mm / 2] = 0.0
    if on_board:
        excess[np.asarray(vertices)[:, 2] < BOARD_MM] = 0.0
    return UndercutMap(excess, _deepest(vertices, excess, 3 * thickness_mm, keep_mm))


def plane_undercuts(
    work: Workpiece, plane: PlaneCost, vertices: FloatArray, *, stepped: bool, nodes_along: int = NODES
) -> UndercutMap:
    """The map for a candidate plane, parted flat or stepped.

    vertices : (n, 3) of the pattern, or of as many points on it as wanted. nodes_along : of the raster.
    """
    normal = np.array(plane.normal)
    plain = columns_along(work.body, normal, draft_deg=work.draft_deg, on_board=work.on_board, nodes_along=nodes_along)
    columns = with_crevices_filled(plain, work.crevice_mm)
    parting: float | FloatArray = plane.offset_mm
    if stepped:
        slope = float(np.tan(np.radians(work.slope_deg)))
        parting = step_along(columns, level_mm=plane.offset_mm, slope=slope).heights_mm
    return undercut_map(vertices, columns, parting, thickness_mm=work.body.thickness_mm, on_board=work.on_board)


def _deepest(vertices: FloatArray, excess: FloatArray, apart_mm: float, keep_mm: float) -> tuple[UndercutSpot, ...]:
    """The vertices of greatest excess, none within `apart_mm` of a deeper one."""
    left = excess.copy()
    spots: list[UndercutSpot] = []
    while len(spots) < MOST_SPOTS and left.max(initial=0.0) >= keep_mm:
        k = int(np.argmax(left))
        place = vertices[k]
        spots.append(UndercutSpot((float(place[0]), float(place[1]), float(place[2])), float(left[k])))
        left[((vertices - place) ** 2).sum(1) <= apart_mm**2] = 0.0
    return tuple(spots)


def deepest_says(found: UndercutMap) -> str:
    """Where the rubber lies deepest beyond the asked thickness, in a sentence; the three deepest places."""
    if not found.spots:
        return f"Nowhere does the rubber lie more than {KEEP_MM:g} mm beyond the asked thickness."
    places = ", ".join(
        f"{s.excess_mm:.0f} mm at ({s.at_mm[0]:.0f}, {s.at_mm[1]:.0f}, {s.at_mm[2]:.0f})" for s in found.spots[:3]
    )
    return f"Deepest beyond the asked thickness: {places}."
