"""Where rubber is thicker than asked: the fills, with volume and place."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shellgen.checks.bench import Bench, place
from shellgen.checks.depth import tops, window_round
from shellgen.checks.finding import Finding, Status
from shellgen.checks.sweep import pull_frame
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part

TITLE = "rubber beyond the asked thickness is listed"
EXCESS_MM = 0.5  # beyond asked and the raster's margin, before rubber counts as a fill
LISTED = 6
LEAST_MM3 = 100.0
MOST_SHARE = 0.5  # of the rubber; more than that says that another parting would serve better
POINTS = 200_000
LINES = 250_000
VOTES = 15  # points of a lump that are asked which side of the pattern they lie on


def check(bench: Bench) -> Finding:
    """Rubber farther from the pattern than asked, counted on a lattice of points in the jacket, in lumps.

    A point is in the jacket if it lies outside the pattern and below the rubber's top along each piece's pull. Jacket
    keys and the lip on the board are left out. Lumps much smaller than the lattice's step are missed.
    """
    rubber = sum(part.volume_mm3 for part in bench.jackets)
    if not bench.jackets or not bench.shells or rubber <= 0:
        return Finding("fills", TITLE, "fail", None, None, "cm³", "there is no rubber to measure")
    points, cells, step = _lattice(bench)
    inside = np.ones(len(points), bool)
    for piece in bench.shells:
        inside[inside] &= _under_top(bench, piece, points[inside])
    points, cells = points[inside], cells[inside]
    beyond = EXCESS_MM + (bench.mold.design.settings.raster.pitch_mm or 0.0) / 3.0
    asked = _asked(bench, points)
    limit = asked + beyond
    far = (bench.pattern.rough_distance(points, float(limit.max())) > limit) & ~_by_key(bench, points)
    if bench.skin is not bench.pattern:  # where holes were capped, so that no lump reaches through one
        far &= bench.skin.rough_distance(points, float(limit.max())) > limit
    if bench.on_board:
        far &= points[:, 2] > asked + 1.0
    volumes, middles = _in_rubber(bench, points[far], *lumps(cells[far], points[far], step))
    total = float(volumes.sum())
    share = total / rubber
    listed = [
        f"{v / 1000:.1f} cm³ at {place(m)}"
        for v, m in zip(volumes[:LISTED], middles[:LISTED], strict=True)
        if v >= LEAST_MM3
    ]
    rest = len(volumes) - len(listed)
    says = f"about {total / 1000:.1f} cm³ ({100 * share:.0f} %) of the rubber lie more than {beyond:.1f} mm beyond it"
    says += ": " + ", ".join(listed) + (f", and {rest} smaller" if rest else "") if listed else ""
    if share > MOST_SHARE:
        says += "; another parting plane may need less"
    status: Status = "warn" if share > MOST_SHARE else "pass"
    return Finding("fills", TITLE, status, total / 1000.0, MOST_SHARE * rubber / 1000.0, "cm³", says)


def lumps(
    cells: npt.NDArray[np.int64], points: FloatArray, step_mm: float
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int64]]:
    """Lattice points (k, 3) that touch: volume of each lump [mm3], greatest first, its middle; each point's lump."""
    from scipy.ndimage import label

    if not len(points):
        return np.empty(0), np.empty((0, 3)), np.empty(0, np.int64)
    low = cells.min(0)
    grid = np.zeros(cells.max(0) - low + 1, bool)
    grid[tuple((cells - low).T)] = True
    marks, count = label(grid, np.ones((3, 3, 3), bool))
    mine = marks[tuple((cells - low).T)] - 1
    size = np.bincount(mine, minlength=count)
    middles = np.stack([np.bincount(mine, points[:, k], count) / size for k in range(3)], 1)
    order = np.argsort(-size, kind="stable")
    place = np.empty(count, np.int64)
    place[order] = np.arange(count)
    return np.asarray(size[order] * step_mm**3, float), middles[order], place[mine]


def _in_rubber(
    bench: Bench, points: FloatArray, volumes: FloatArray, middles: FloatArray, lump_of: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """The lumps outside the pattern. No lump crosses its skin, as all its points are far from it: some points vote."""
    order = np.argsort(lump_of, kind="stable")
    turn = np.arange(len(order)) - np.searchsorted(lump_of[order], lump_of[order])  # within its lump
    count = np.bincount(lump_of, minlength=len(volumes))[lump_of[order]]
    asked = order[turn % np.maximum(count // VOTES, 1) == 0]
    outside = bench.skin.outside(points[asked])
    votes = np.bincount(lump_of[asked], np.where(outside, 1.0, -1.0), len(volumes))
    return volumes[votes > 0], middles[votes > 0]


def _lattice(bench: Bench) -> tuple[FloatArray, npt.NDArray[np.int64], float]:
    """Points (k, 3) over the box of the rubber, their cells (k, 3) int, and the step [mm]."""
    corners = np.array([[p.vertices_mm.min(0), p.vertices_mm.max(0)] for p in bench.jackets])
    low, high = corners[:, 0].min(0), corners[:, 1].max(0)
    step = float((np.prod(high - low) / POINTS) ** (1 / 3))
    counts = np.maximum(1, np.ceil((high - low) / step)).astype(int)
    cells = np.stack(np.meshgrid(*(np.arange(n) for n in counts), indexing="ij"), -1).reshape(-1, 3)
    return low + (cells + 0.5) * step, cells, step


def _under_top(bench: Bench, piece: Part, points: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points lie below the rubber's top along a piece's pull."""
    turn = pull_frame(np.asarray(piece.pull if piece.pull is not None else (0.0, 0.0, 1.0), float))
    below = np.zeros(len(points), bool)
    here = points @ turn.T
    for part in bench.jackets:
        vertices = part.vertices_mm @ turn.T
        window = window_round(vertices, LINES, 0.5)
        top = tops(vertices, part.faces, window)
        j = np.rint((here[:, 0] - window.x0_mm) / window.pitch_mm).astype(int).clip(0, window.columns - 1)
        i = np.rint((here[:, 1] - window.y0_mm) / window.pitch_mm).astype(int).clip(0, window.rows - 1)
        below |= here[:, 2] < top[i, j]
    return below


def _asked(bench: Bench, points: FloatArray) -> FloatArray:
    """Thickness asked at points of the rubber: that of the nearest piece."""
    asked = np.array([bench.asked(piece.name)[0] for piece in bench.shells])
    if (asked == asked[0]).all():
        return np.full(len(points), asked[0])
    nearest = np.stack([bench.surfaces[piece.name].rough_distance(points) for piece in bench.shells]).argmin(0)
    found: FloatArray = asked[nearest]
    return found


def _by_key(bench: Bench, points: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points lie in a jacket key."""
    found = np.zeros(len(points), bool)
    for key in bench.mold.design.jacket_keys:
        found |= np.linalg.norm(points - np.asarray(key.at_mm), axis=1) < 1.3 * key.radius_mm + key.height_mm
    return found
