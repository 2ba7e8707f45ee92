"""Defaults that depend on the pattern's size or on other keys: each value with the reason for it.

Sizes of bolts, pitches, walls and keys are common practice, no source, unless a comment names one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.standards.fasteners import bolt

WASHER_TO_WALL_MM = 1.5
WASHER_TO_EDGE_MM = 2.0
BOLTS_BY_LONGEST_SIDE = ((120.0, "M4"), (300.0, "M5"), (700.0, "M6"), (1500.0, "M8"), (math.inf, "M10"))
PITCH_BY_DIAMETER = 10.0
PORT_WANTED_MM = 40.0


@dataclass(frozen=True, slots=True)
class Choice:
    """A default that was filled in: the key's full name, its value, and why."""

    key: str
    value: Any
    why: str


def fill_in(settings: Settings, bounds_mm: npt.ArrayLike) -> Settings:
    """Settings with every open default replaced that size and the other keys decide.

    bounds_mm : (2, 3), least and greatest corner of the pattern in the mold frame.
    Left open, for they mean "as elsewhere", "none" or "the middle": the stem, the radial axis, offsets of planes,
    torque, limits, what differs for single pieces; `bolts.pitch_mm = "auto"` stays for the joint's calculation.
    Raises DesignError where a flange is too narrow for its washers, or bolts too close for them.
    """
    tables: dict[str, dict[str, Any]] = {}
    for choice in choices(settings, bounds_mm):
        table, _, leaf = choice.key.partition(".")
        tables.setdefault(table, {})[leaf] = choice.value
    filled = {table: getattr(settings, table).model_copy(update=values) for table, values in tables.items()}
    return settings.model_copy(update=filled)


def choices(settings: Settings, bounds_mm: npt.ArrayLike) -> tuple[Choice, ...]:
    """The defaults `fill_in` puts in the place of keys left open, in the order of the job file.

    bounds_mm : (2, 3), least and greatest corner of the pattern in the mold frame.
    Raises DesignError as `fill_in` does.
    """
    corners = np.asarray(bounds_mm, float).reshape(2, 3)
    sides = sorted(float(side) for side in corners[1] - corners[0])
    found = [*_jacket(settings, sides[2]), *_hardware(settings, sides[2]), *_port(settings, sides)]
    if settings.raster.pitch_mm is None:
        found.append(Choice("raster.pitch_mm", raster_pitch_mm(sides[2]), "fine enough for this size"))
    return tuple(found)


def _jacket(settings: Settings, longest_mm: float) -> Iterator[Choice]:
    jacket = settings.jacket
    if jacket.clearance_mm is None and jacket.method == "brush":
        yield Choice("jacket.clearance_mm", 0.5, "brushed rubber varies by hand, so the shell stands off a little")
    elif jacket.clearance_mm is None:
        yield Choice("jacket.clearance_mm", 0.0, "poured rubber takes the shape of the shell, so it fits as it is")
    if jacket.key_height_mm is None:
        height = _clamped(_half_up(jacket.thickness_mm / 2), 2.0, 5.0)
        yield Choice("jacket.key_height_mm", height, "about half the rubber's thickness")
    if jacket.key_spacing_mm is None:
        spacing = _clamped(float(round(0.3 * longest_mm)), 12.0, 300.0)
        yield Choice("jacket.key_spacing_mm", spacing, "about a third of the longest side")


def _hardware(settings: Settings, longest_mm: float) -> Iterator[Choice]:
    size = settings.bolts.size or bolt_size(longest_mm)
    washer_mm = bolt(size).washer_od_mm
    room_mm = washer_mm + WASHER_TO_WALL_MM + WASHER_TO_EDGE_MM
    width, thickness = settings.flange.width_mm, settings.flange.thickness_mm
    if settings.mount.flange_mm is None:
        yield Choice("mount.flange_mm", width or float(math.ceil(room_mm)), "as wide as the parting flange")
    elif settings.mount.flange_mm < room_mm and settings.mount.kind != "none" and settings.mount.bolts:
        raise DesignError(_narrow("mount.flange_mm", settings.mount.flange_mm, size, washer_mm, room_mm))
    if width is None:
        yield Choice(
            "flange.width_mm", float(math.ceil(room_mm)), f"room for the {size} washer, {washer_mm:g} mm across"
        )
    elif width < room_mm:
        raise DesignError(_narrow("flange.width_mm", width, size, washer_mm, room_mm))
    if thickness is None:
        thickness = max([settings.shell.wall_mm, *(p.wall_mm or 0.0 for p in settings.pieces.values())]) + 2.0
        yield Choice("flange.thickness_mm", thickness, "the wall and 2 more")
    if settings.bolts.size is None:
        yield Choice("bolts.size", size, f"usual for a longest side of {longest_mm:.0f} mm")
    pitch = settings.bolts.pitch_mm
    if pitch is None:
        yield Choice("bolts.pitch_mm", bolt_pitch_mm(size, longest_mm), "about ten bolt diameters")
    elif pitch != "auto" and pitch < washer_mm + WASHER_TO_EDGE_MM:
        raise DesignError(
            f"bolts.pitch_mm = {pitch:g}: closer than {size} washers ({washer_mm:g} mm) can sit. "
            f"Give {washer_mm + WASHER_TO_EDGE_MM:g} or more, or a smaller bolt."
        )
    if settings.port.lid_thickness_mm is None:
        yield Choice("port.lid_thickness_mm", thickness, "as thick as the flange")


def _narrow(key: str, width_mm: float, size: str, washer_mm: float, room_mm: float) -> str:
    return (
        f"{key} = {width_mm:g}: too narrow for an {size} washer ({washer_mm:g} mm) with {WASHER_TO_WALL_MM:g} mm "
        f"to the wall and {WASHER_TO_EDGE_MM:g} mm to the edge. Give {room_mm:g} or more, or a smaller bolt."
    )


def _port(settings: Settings, sides_mm: list[float]) -> Iterator[Choice]:
    if settings.port.diameter_mm is None:
        bore = port_diameter_mm(sides_mm[1])
        why = "wide enough to pour through" if bore >= PORT_WANTED_MM else f"{PORT_WANTED_MM:g} does not fit this size"
        yield Choice("port.diameter_mm", bore, why)


def bolt_size(longest_mm: float) -> str:
    """The bolt for a pattern of this longest side."""
    return next(size for limit, size in BOLTS_BY_LONGEST_SIDE if longest_mm < limit)


def bolt_pitch_mm(size: str, longest_mm: float) -> float:
    """Greatest distance between bolts of this size: ten diameters, less on a small pattern, never too close to turn."""
    data = bolt(size)
    # spanner_pitch_mm: least pitch a spanner turns at, see the table of threads
    least = max(data.spanner_pitch_mm, data.washer_od_mm + WASHER_TO_EDGE_MM)
    return max(float(math.ceil(least)), float(round(min(PITCH_BY_DIAMETER * data.d_mm, 0.45 * longest_mm))))


def port_diameter_mm(second_side_mm: float) -> float:
    """Bore of the port by the pattern's second longest side: 40 to 120, and about a third of it where it is small."""
    if second_side_mm * 0.35 < PORT_WANTED_MM:
        return max(5.0, _half_up(second_side_mm * 0.35))
    return _clamped(float(round(0.25 * second_side_mm)), PORT_WANTED_MM, 120.0)


def raster_pitch_mm(longest_mm: float) -> float:
    """Raster step by the longest side: 0.25 up to 50 mm, 0.5 at 200, 0.7 at 400, 1.2 at 2 m, 2 from 4 m on.

    Fine enough for the rubber's thickness at that size: a cell at a silhouette of radius r is off by up to step^2 / r.
    """
    sizes, steps = (50, 100, 200, 400, 800, 2000, 4000), (0.25, 0.35, 0.5, 0.7, 0.9, 1.2, 2.0)
    return round(float(np.interp(longest_mm, sizes, steps)), 2)


def rubber_thickness_mm(longest_mm: float) -> float:
    """Rubber for a brushed jacket by the pattern's longest side: 4 at 50 mm to 12 at 3 m."""
    return _half_up(float(np.interp(longest_mm, (50, 200, 600, 1500, 3000), (4, 7, 8, 10, 12))))


def wall_mm(longest_mm: float) -> float:
    """Wall of a printed shell by the pattern's longest side: 4 at 50 mm to 10 at 3 m."""
    return _half_up(float(np.interp(longest_mm, (50, 200, 600, 1500, 3000), (4, 5, 6, 8, 10))))


def crevice_mm(longest_mm: float) -> float:
    """Radius under which crevices are filled: about that of a brush that suits the size, 2 at 50 mm to 8 at 3 m."""
    return _half_up(float(np.interp(longest_mm, (50, 200, 600, 1500, 3000), (2, 4, 5, 6, 8))))


def _half_up(value: float) -> float:
    return math.floor(value * 2 + 0.5) / 2


def _clamped(value: float, least: float, most: float) -> float:
    return min(max(value, least), most)
