"""Where two pieces between planes meet: the part of their common plane that both reach."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from shellgen.envelope.raster import FloatArray
from shellgen.parting.cells import plane_frame
from shellgen.parting.split import BOARD, Bound, Lump

FAR_MM = 1e4


@dataclass(frozen=True, slots=True, eq=False)
class Meeting:
    """The common plane of two pieces. to_mold : 4x4, z along its normal into the first piece, y up.

    plane : its number in the job's list. room : what of it both pieces reach, in that frame's plan.
    """

    pair: tuple[str, str]
    plane: int
    to_mold: FloatArray
    room: Polygon


def meeting(
    first: Lump, second: Lump, bounds_mm: FloatArray, reach_mm: float, on_board: bool = False
) -> Meeting | None:
    """Where two pieces meet within that reach of the pattern's bounds (2, 3); None where they do not.

    on_board : nothing lies below the board.
    """
    own, other = shared(first, second)
    frame = plane_frame(own.normal, own.offset_mm, bounds_mm)
    corners = np.array([[x, y, z] for x in bounds_mm[:, 0] for y in bounds_mm[:, 1] for z in bounds_mm[:, 2]])
    plan = (corners - frame[:3, 3]) @ frame[:3, :2]
    low, high = plan.min(axis=0) - reach_mm, plan.max(axis=0) + reach_mm
    limits = [b for lump in (first, second) for b in lump.bounds if b is not own and b is not other]
    limits += [BOARD] if on_board else []
    room = within(box(low[0], low[1], high[0], high[1]), frame, [(b, 0.0) for b in limits])
    return Meeting((first.name, second.name), own.plane, frame, room) if room.area > 1.0 else None


def shared(first: Lump, second: Lump) -> tuple[Bound, Bound]:
    """The plane that parted two pieces, as a bound of each."""
    return next(
        (a, b) for a in first.bounds for b in second.bounds if a.plane == b.plane and float(a.normal @ b.normal) < 0
    )


def within(region: Polygon, frame: FloatArray, limits: Iterable[tuple[Bound, float]]) -> Polygon:
    """What of a convex region of a plane, in its frame, lies at least so far inside of bounds, measured in the plane.

    limits : (bound, distance [mm]). A bound parallel to the plane takes all or nothing.
    """
    for bound, gap_mm in limits:
        line = bound.normal @ frame[:3, :2]
        level = bound.offset_mm - float(bound.normal @ frame[:3, 3])
        size = float(np.hypot(*line))
        if size < 1e-9:
            region = region if level <= 1e-9 else Polygon()
            continue
        a = line / size
        at = (level / size + gap_mm) * a
        across = FAR_MM * np.array([-a[1], a[0]])
        half = Polygon([at - across, at + across, at + across + FAR_MM * a, at - across + FAR_MM * a])
        region = shapely.intersection(region, half)
    return region if isinstance(region, Polygon) else Polygon()
