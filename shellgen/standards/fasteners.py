"""Bolts, nuts and washers by size: dimensions in mm, areas in mm2, strengths in MPa.

The tables beside this file name their sources (ISO 273, 4032, 7089, 7093-1, 4017, 4762, 898-1; ASME for inch sizes)
and how each value was confirmed: X two tables or more, R read in one, C computed, M from memory, P common practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

from shellgen.standards.table import UnknownName, row, rows

Fit = Literal["fine", "medium", "coarse"]
WasherKind = Literal["plain", "large"]
HeadKind = Literal["hex", "socket"]
FITS: tuple[Fit, ...] = ("fine", "medium", "coarse")


@dataclass(frozen=True, slots=True)
class Washer:
    """A flat washer: inner and outer diameter, nominal and greatest thickness."""

    kind: WasherKind
    id_mm: float
    od_mm: float
    h_mm: float
    h_max_mm: float


@dataclass(frozen=True, slots=True)
class Head:
    """A bolt head: greatest diameter (hex: across flats), height, key or spanner size, bearing diameter, lengths sold.

    `across_corners_mm` : of a hex head outside, of a socket head inside its socket.
    """

    kind: HeadKind
    diameter_mm: float
    height_mm: float
    key_mm: float
    across_corners_mm: float
    bearing_mm: float
    lengths_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Insert:
    """A heat-set insert: bore, its own length, depth to bore."""

    bore_mm: float
    length_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class BoltData:
    """All dimensions that go with one bolt size. `hole_mm` by fit; `proof_mpa` by strength grade, weakest first.

    `insert` is None where no bore is tabulated: such a size takes no heat-set insert here.
    """

    size: str
    d_mm: float
    pitch_mm: float
    stress_area_mm2: float
    hole_mm: dict[Fit, float]
    nut_s_mm: float
    nut_m_mm: float
    nut_e_mm: float
    washer: Washer
    large_washer: Washer
    head: Head
    socket_head: Head
    insert: Insert | None
    proof_mpa: dict[str, float]
    spanner_pitch_mm: float
    thread_length_mm: dict[HeadKind, float]

    @property
    def washer_id_mm(self) -> float:
        """Inner diameter of the plain washer."""
        return self.washer.id_mm

    @property
    def washer_od_mm(self) -> float:
        """Outer diameter of the plain washer."""
        return self.washer.od_mm

    @property
    def washer_h_mm(self) -> float:
        """Nominal thickness of the plain washer."""
        return self.washer.h_mm

    @property
    def head_s_mm(self) -> float:
        """Width across flats of the hex head."""
        return self.head.key_mm

    @property
    def head_k_mm(self) -> float:
        """Height of the hex head."""
        return self.head.height_mm

    @property
    def grades(self) -> tuple[str, ...]:
        """Strength grades of this size's system, weakest first."""
        return tuple(self.proof_mpa)

    def washer_of(self, kind: WasherKind) -> Washer:
        """The plain or the large washer."""
        return self.washer if kind == "plain" else self.large_washer


def sizes() -> tuple[str, ...]:
    """Every bolt size of the tables: metric by diameter, then inch."""
    return tuple(entry["size"] for entry in rows("threads"))


@cache
def bolt(size: str) -> BoltData:
    """Dimensions of one bolt size, such as "M6" or "1/4 in".

    Raises UnknownName for a size that is not tabulated, naming the nearest one.
    """
    if size not in sizes():
        known = ", ".join(sizes())
        raise UnknownName(f"bolt size '{size}' is not in the tables ({known}). The nearest is '{_nearest(size)}'.")
    thread = row("threads", size=size)
    holes = row("clearance_holes", size=size)
    nut = row("nuts", size=size)
    system = "inch" if size.endswith("in") else "metric"
    return BoltData(
        size=size,
        d_mm=float(thread["d_mm"]),
        pitch_mm=float(thread["pitch_mm"]),
        stress_area_mm2=float(thread["stress_area_mm2"]),
        hole_mm={fit: float(holes[f"{fit}_mm"]) for fit in FITS},
        nut_s_mm=float(nut["across_flats_mm"]),
        nut_m_mm=float(nut["height_mm"]),
        nut_e_mm=float(nut["across_corners_mm"]),
        washer=_washer(size, "plain"),
        large_washer=_washer(size, "large"),
        head=_head(size, "hex", system),
        socket_head=_head(size, "socket", system),
        insert=_insert(size),
        proof_mpa={r["grade"]: float(r["proof_mpa"]) for r in rows("grades") if r["system"] == system},
        spanner_pitch_mm=float(thread["spanner_pitch_mm"]),
        thread_length_mm={
            "hex": float(thread["thread_length_hex_mm"]),
            "socket": float(thread["thread_length_socket_mm"]),
        },
    )


def torque_factor(condition: str = "unknown") -> float:
    """The factor K of T = K F d for a state of the thread: unknown, black, zinc, lubricated, cadmium.

    Raises UnknownName for another state.
    """
    factors = {entry["condition"]: float(entry["factor"]) for entry in rows("torque_factors")}
    if condition not in factors:
        raise UnknownName(f"thread condition '{condition}' is not in the tables. Use one of {', '.join(factors)}.")
    return factors[condition]


def _washer(size: str, kind: WasherKind) -> Washer:
    entry = row("washers", size=size, kind=kind)
    return Washer(kind, float(entry["id_mm"]), float(entry["od_mm"]), float(entry["h_mm"]), float(entry["h_max_mm"]))


def _head(size: str, kind: HeadKind, system: str) -> Head:
    entry = row("heads", size=size, kind=kind)
    shortest, longest = float(entry["length_min_mm"]), float(entry["length_max_mm"])
    stock = [float(r["length_mm"]) for r in rows("lengths") if r["system"] == system]
    return Head(
        kind,
        float(entry["diameter_mm"]),
        float(entry["height_mm"]),
        float(entry["key_mm"]),
        float(entry["across_corners_mm"]),
        float(entry["bearing_mm"]),
        tuple(length for length in stock if shortest - 1e-6 <= length <= longest + 1e-6),
    )


def _insert(size: str) -> Insert | None:
    for entry in rows("inserts"):
        if entry["size"] == size:
            return Insert(float(entry["bore_mm"]), float(entry["length_mm"]), float(entry["depth_mm"]))
    return None


def _nearest(text: str) -> str:
    """The size whose diameter is nearest to the first number or fraction in `text`; M6 where there is none."""
    found = re.search(r"(\d+(?:\.\d+)?)(?:\s*/\s*(\d+))?", text)
    if not found:
        return "M6"
    wanted = float(found[1])
    if found[2] and float(found[2]) > 0:
        wanted *= 25.4 / float(found[2])
    same_system = [s for s in sizes() if s.endswith("in") == bool(found[2])]
    return min(same_system, key=lambda s: abs(float(row("threads", size=s)["d_mm"]) - wanted))
