"""What a bolt end bears on: a washer, the nut in its pocket, or an insert. mm2."""

from __future__ import annotations

from typing import Literal

from shellgen.errors import DesignError
from shellgen.shop.joint.preload import hex_area_mm2, ring_area_mm2
from shellgen.standards.fasteners import BoltData, WasherKind

End = Literal["washer", "pocket", "insert", "board"]


def seat_area_mm2(bolt: BoltData, end: End, *, hole_mm: float, washer: WasherKind = "plain") -> float | None:
    """Area [mm2] on which one end of a bolt presses the flange; None for a board or an insert, which do not press it.

    A hole wider than the washer's own leaves less.
    """
    if end == "washer":
        plate = bolt.washer_of(washer)
        if hole_mm >= plate.od_mm:
            raise DesignError(f"a hole of {hole_mm:g} mm swallows the {bolt.size} washer ({plate.od_mm:g} mm).")
        return ring_area_mm2(plate.od_mm, max(plate.id_mm, hole_mm))
    if end == "pocket":
        return hex_area_mm2(bolt.nut_s_mm, hole_mm)
    return None


def least_area_mm2(bolt: BoltData, ends: tuple[End, End], *, hole_mm: float, washer: WasherKind = "plain") -> float:
    """The smaller seat of a bolt's two ends [mm2]. Raises DesignError if neither presses the flange."""
    areas = [seat_area_mm2(bolt, end, hole_mm=hole_mm, washer=washer) for end in ends]
    known = [area for area in areas if area is not None]
    if not known:
        raise DesignError(f"a bolt with ends {ends[0]} and {ends[1]} presses on nothing. Give one end a washer.")
    return min(known)
