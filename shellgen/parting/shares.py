"""Pieces between a list of planes as cells: each with its pull frame and the planes that it ends at in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.job.model import Settings
from shellgen.parting.cells import Cell, plane_frame
from shellgen.parting.mating import Meeting, meeting
from shellgen.parting.pulls import ALONG, mating_bounds, order, pulls, stands
from shellgen.parting.split import Bound, Lump, split
from shellgen.parting.surface import PlaneParting, PlanesParting
from shellgen.pattern.pattern import Pattern

NEAR_MM = 60.0  # beyond that from the pattern nothing is built: pieces that meet only there do not mate
REACH_MM = 200.0  # how far beyond the pattern mating faces are laid out


@dataclass(frozen=True, slots=True, eq=False)
class Share(Cell):
    """A cell between planes. lump : its bounds in the mold frame. on_board : it reaches down to the board."""

    lump: Lump
    on_board: bool


@dataclass(frozen=True, slots=True, eq=False)
class Arrangement:
    """All shares, where they meet, and their names in the order in which they go together."""

    shares: tuple[Share, ...]
    meetings: tuple[Meeting, ...]
    order: tuple[str, ...]

    @property
    def halves(self) -> bool:
        """Whether these are two halves that leave square to one plane."""
        return len(self.shares) == 2 and all(isinstance(s.parting, PlaneParting) for s in self.shares)


def arrangement(settings: Settings, pattern: Pattern) -> Arrangement:
    """The pieces that the job's list of planes makes of a pattern. Raises DesignError where they cannot be made."""
    bounds_mm, on_board = pattern.bounds_mm, pattern.mount != "none"
    lumps = split(settings.parting.planes, pattern.vertices_mm[pattern.faces])
    near = [(a, b, meeting(a, b, bounds_mm, NEAR_MM, on_board)) for i, a in enumerate(lumps) for b in lumps[i + 1 :]]
    found = [m for _, _, m in near if m is not None]
    given = {
        name: np.asarray(piece.pull, float) / np.linalg.norm(piece.pull)
        for name, piece in sorted(settings.pieces.items())
        if piece.pull is not None
    }
    ways = pulls(lumps, found, given, on_board)
    slid = {name: sliding(name, lumps, found, ways) for name in ways}
    shares = tuple(
        share(lump, mating_bounds(lump, found), ways[lump.name], bounds_mm, on_board and stands(lump), slid[lump.name])
        for lump in lumps
    )
    meetings = []
    for a, b, m in near:
        if m is None:
            continue
        square = [float(next(x for x in lump.bounds if x.plane == m.plane).normal @ ways[lump.name]) for lump in (a, b)]
        pair = (b, a) if square[1] > square[0] + ALONG else (a, b)  # the one that it is squarer to comes first
        far = meeting(*pair, bounds_mm, REACH_MM, on_board)
        meetings.append(far if far is not None else m)
    return Arrangement(shares, tuple(meetings), order(lumps, found, ways))


def sliding(
    name: str, lumps: Sequence[Lump], meetings: Sequence[Meeting], ways: Mapping[str, FloatArray]
) -> frozenset[int]:
    """Numbers of the planes of a piece that a neighbour slides along when it leaves."""
    of = {lump.name: lump for lump in lumps}
    found = set()
    for meet in meetings:
        if name in meet.pair:
            other = meet.pair[int(meet.pair[0] == name)]
            bound = next(b for b in of[other].bounds if b.plane == meet.plane)
            if abs(float(bound.normal @ ways[other])) <= ALONG:
                found.add(meet.plane)
    return frozenset(found)


def share(
    lump: Lump,
    mates: Sequence[Bound],
    pull: FloatArray,
    bounds_mm: FloatArray,
    on_board: bool,
    slid: frozenset[int] = frozenset(),
) -> Share:
    """One piece as a cell: its frame has z along the pull, y up, and stands where its planes meet.

    mates : those of its bounds at which it meets others; the rest lie beyond them. slid : numbers of the planes that a
    neighbour slides along.
    """
    floors = [b for b in mates if float(b.normal @ pull) > ALONG]
    sides = [b for b in mates if abs(float(b.normal @ pull)) <= ALONG]
    if len(floors) == 1 and not sides and float(floors[0].normal @ pull) > 1.0 - 1e-12:
        return Share(lump.name, plane_frame(pull, floors[0].offset_mm, bounds_mm), PlaneParting(), lump, on_board)
    frame = plane_frame(pull, 0.0, bounds_mm)
    middle = bounds_mm.mean(axis=0) * (1.0, 1.0, 0.0 if abs(pull[2]) < 1e-12 else 1.0)
    rows = np.stack([b.normal for b in floors])
    levels = np.array([b.offset_mm for b in floors])
    frame[:3, 3] = middle + np.linalg.lstsq(rows, levels - rows @ middle, rcond=1e-6)[0]
    seen = [(*(b.normal @ frame[:3, :3]), b.offset_mm - float(b.normal @ frame[:3, 3])) for b in floors]
    planes = tuple((-float(x / z), -float(y / z), float(c / z)) for x, y, z, c in seen)
    edges = [(*(b.normal @ frame[:3, :3]), b.offset_mm - float(b.normal @ frame[:3, 3])) for b in sides]
    walls = tuple((float(x), float(y), -float(c)) for x, y, _, c in edges)
    low = _lowest_mm(planes, walls, frame, bounds_mm)
    parting = PlanesParting(planes, walls, low, tuple(b.plane in slid for b in floors))
    return Share(lump.name, frame, parting, lump, on_board)


def _lowest_mm(
    planes: tuple[tuple[float, float, float], ...],
    sides: tuple[tuple[float, float, float], ...],
    frame: FloatArray,
    bounds_mm: FloatArray,
) -> float:
    """The lowest height of a parting over the pattern's plan, from a linear programme: least z above all planes."""
    from scipy.optimize import linprog

    corners = np.array([[x, y, z] for x in bounds_mm[:, 0] for y in bounds_mm[:, 1] for z in bounds_mm[:, 2]])
    plan = (corners - frame[:3, 3]) @ frame[:3, :2]
    low, high = plan.min(axis=0) - NEAR_MM, plan.max(axis=0) + NEAR_MM
    rows = [[a, b, -1.0] for a, b, _ in planes] + [[-a, -b, 0.0] for a, b, _ in sides]
    limits = [-c for _, _, c in planes] + [c for _, _, c in sides]
    box = [(low[0], high[0]), (low[1], high[1]), (None, None)]
    least = linprog([0.0, 0.0, 1.0], A_ub=rows, b_ub=limits, bounds=box)
    lowest = min(float(least.fun), 0.0) if least.status == 0 else 0.0
    return lowest if lowest < -1e-6 else 0.0
