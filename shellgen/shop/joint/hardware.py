"""The bolt list: lengths from grip, washers and nut, taken from stock. mm."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from shellgen.errors import DesignError
from shellgen.shop.joint.seat import End
from shellgen.standards.fasteners import BoltData, HeadKind, WasherKind
from shellgen.standards.figures import figure


@dataclass(frozen=True, slots=True)
class HardwareItem:
    """One line of the list. `length_mm` of bolts only."""

    item: str
    size: str
    count: int
    length_mm: float | None
    standard: str
    setup: str


@dataclass(frozen=True, slots=True)
class Place:
    """A bolt as it sits: grip from seat to seat, the two ends, and what it is for."""

    bolt: BoltData
    grip_mm: float
    ends: tuple[End, End]
    setup: str


def needed_length_mm(place: Place, washer: WasherKind = "plain") -> tuple[float, float]:
    """Shortest and longest bolt [mm], under the head, that suits a place.

    Washers at their greatest thickness, a nut and two threads beyond it; an insert takes at least one diameter and at
    most its bored depth; a board is bored through and has its own washer and nut.
    """
    bolt, end = place.bolt, place.ends[1]
    thickness = bolt.washer_of(washer).h_max_mm
    least = place.grip_mm + thickness
    if end == "insert":
        if bolt.insert is None:
            raise DesignError(f"no insert is tabulated for {bolt.size}. Use bolts.nut = 'washer' or M4, M5 or M6.")
        return least + figure("least bite") * bolt.d_mm, least + bolt.insert.depth_mm
    if end == "board":
        least += figure("board thickness")
    if end != "pocket":
        least += thickness
    return least + bolt.nut_m_mm + figure("threads past the nut") * bolt.pitch_mm, float("inf")


def stock_length_mm(place: Place, washer: WasherKind = "plain", head: HeadKind = "hex") -> float:
    """The shortest stock bolt [mm] that suits a place.

    Raises DesignError if no stock bolt does, with the nearest length sold.
    """
    least, most = needed_length_mm(place, washer)
    lengths = (place.bolt.head if head == "hex" else place.bolt.socket_head).lengths_mm
    for length in lengths:
        if least - 1e-6 <= length <= most + 1e-6:
            return length
    nearest = min(lengths, key=lambda x: abs(x - least))
    bounds = f"at least {least:.1f} mm" if most == float("inf") else f"{least:.1f} to {most:.1f} mm"
    raise DesignError(
        f"no {place.bolt.size} {head} bolt reaches: it must be {bounds} long, stock runs from {lengths[0]:g} to "
        f"{lengths[-1]:g} mm and the nearest is {nearest:g}. Change flange.thickness_mm by "
        f"{(nearest - least) / 2:+.1f} mm on each side, or the bolt size."
    )


def hardware_list(
    places: Iterable[Place], washer: WasherKind = "plain", head: HeadKind = "hex"
) -> tuple[HardwareItem, ...]:
    """All bolts, washers, nuts and inserts, by setup, item, size and length."""
    counts: Counter[tuple[str, int, str, str, float | None, str]] = Counter()
    for place in places:
        inch = place.bolt.size.endswith("in")
        length = stock_length_mm(place, washer, head)
        name = "hex bolt" if head == "hex" else "socket head bolt"
        standard = (
            ("ASME B18.2.1" if head == "hex" else "ASME B18.3")
            if inch
            else ("ISO 4017" if head == "hex" else "ISO 4762")
        )
        counts[(place.setup, 0, name, place.bolt.size, length, standard)] += 1
        washers = 1 if place.ends[1] in ("pocket", "insert") else 2
        kind = "washer" if washer == "plain" else "large washer"
        washer_standard = "ASME B18.21.1" if inch else ("ISO 7089" if washer == "plain" else "ISO 7093-1")
        counts[(place.setup, 1, kind, place.bolt.size, None, washer_standard)] += washers
        if place.ends[1] == "insert":
            counts[(place.setup, 2, "heat-set insert", place.bolt.size, None, "maker's sheet")] += 1
        else:
            counts[(place.setup, 2, "nut", place.bolt.size, None, "ASME B18.2.2" if inch else "ISO 4032")] += 1
    order = sorted(counts, key=lambda k: (k[0], k[1], k[3], k[4] or 0.0))
    return tuple(
        HardwareItem(item, size, counts[key], length, standard, setup)
        for key in order
        for setup, _, item, size, length, standard in [key]
    )
