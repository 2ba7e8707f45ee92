"""Rooms that meet on a mating face: what one piece leaves for rubber there its neighbour leaves too.

Pieces that leave by different ways fill different undercuts, so their rooms may end apart on their common plane. What
of a piece's shell reaches over the neighbour's room ends there in a knife's edge. So the neighbour's room, taken back
by the rubber's thickness, counts as pattern on the plane: all skins of the piece are laid over that too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import FloatArray
from shellgen.mold.flange import polygons
from shellgen.mold.skins import joined, lone_points

Piece = TypeVar("Piece")

ROUNDS = 2  # of widening rooms to their neighbours': those that were widened may reach over others in turn
KNIFE_MM = 0.4  # half the width from which a piece that reaches over its neighbour's room matters
LEAST_MM2 = 3.0  # and the area, with what is narrower taken off
STEP_MM = 2.0  # between the points that stand for a room: balls on them differ by 0.1 mm or less from the whole
WELL_IN_MM = 0.1  # by which these points lie inside, so that the room they make ends in the neighbour's


def core_points(own: BaseGeometry, theirs: BaseGeometry, grown_mm: float) -> FloatArray:
    """Points (k, 2) of a face's plan that, grown by grown_mm, bring a piece's room up to its neighbour's; often none.

    own, theirs : both rooms on the face.
    """
    missing = theirs.difference(own).buffer(-KNIFE_MM).buffer(KNIFE_MM)
    if missing.area < LEAST_MM2:
        return np.zeros((0, 2))
    core = theirs.buffer(-grown_mm - WELL_IN_MM).intersection(missing.buffer(grown_mm + 2 * STEP_MM))
    found: list[FloatArray] = []
    for part in polygons(core):
        lines = [part.exterior, *part.interiors]
        found += [shapely.get_coordinates(line.segmentize(STEP_MM)) for line in lines]
        low_x, low_y, high_x, high_y = part.bounds
        x, y = np.meshgrid(np.arange(low_x, high_x, STEP_MM), np.arange(low_y, high_y, STEP_MM))
        inner = np.column_stack([x.ravel(), y.ravel()])
        found.append(inner[shapely.contains_xy(part, inner[:, 0], inner[:, 1])])
    return np.concatenate(found) if found else np.zeros((0, 2))


def widened(
    bare: Facets,
    count: int,
    make: Callable[[int, Facets], Piece],
    cores_of: Callable[[Sequence[Piece]], list[list[FloatArray]]],
) -> tuple[Piece, ...]:
    """Pieces made over the pattern, and made again with the points that bring their rooms up to their neighbours'.

    make : the piece of a number over a mesh. cores_of : for each piece the points (k, 3) that its faces ask for.
    """
    more: list[list[FloatArray]] = [[] for _ in range(count)]
    with ThreadPoolExecutor(2) as pool:
        made = list(pool.map(lambda k: make(k, bare), range(count)))
        for _ in range(ROUNDS):
            cores = cores_of(made)
            for own, found in zip(more, cores, strict=True):
                own += found
            again = [k for k, found in enumerate(cores) if found]
            for k, piece in zip(again, pool.map(lambda k: make(k, with_cores(bare, more[k])), again), strict=True):
                made[k] = piece
    return tuple(made)


def with_cores(bare: Facets, cores_mm: list[FloatArray]) -> Facets:
    """A mesh with points (k, 3) in its own frame, each of which grows into a ball."""
    return joined(bare, *(lone_points(points) for points in cores_mm))
