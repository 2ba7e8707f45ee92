"""Probe the solids where the bolts go: bore, edge, shank and washer, at each end of each bolt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from shellgen.checks.gauge import Lump, Seat, met, off_axis, reach_mm, rod
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Bolt
from shellgen.standards.fasteners import bolt as bolt_data

BOARD = "board"
GAUGE_MM = (0.25, 1.25)  # depth below the seat at which the bore is gauged
EDGE_REACH = 1.6  # how far round a bolt edges are looked for, in diameters of hole or washer
UNDER_MM = (0.02, 0.4)  # depth below the seat at which the washer must bear
OVER_MM = 2.0  # height over the seat that must be free
ON_AXIS_MM = 2.0  # a void whose middle is nearer to the axis than that is the bore


@dataclass(frozen=True, slots=True, eq=False)
class Probe:
    """What one end of a bolt finds in its part.

    off_mm (3,) : from the designed axis to the bore's middle, None if there is no bore; bore_mm : its diameter.
    edge_mm : from the bore's middle to the nearest edge, at most searched_mm; 0 if the bore breaks out.
    shank_mm3, above_mm3 : what is in the way of the shank and of the washer; share : of its ring that bears the
    washer, None where there is none.
    """

    seat: Seat
    off_mm: FloatArray | None
    bore_mm: float
    edge_mm: float
    searched_mm: float
    shank_mm3: float
    above_mm3: float
    share: float | None


def seats_of(bolts: tuple[Bolt, ...], parts: Mapping[str, object]) -> Iterator[Seat]:
    """The ends of all bolts that sit on a part of the mold."""
    for i, bolt in enumerate(bolts):
        first, second = (np.asarray(seat, float) for seat in bolt.seats_mm)
        length = float(np.linalg.norm(second - first))
        way = (second - first) / max(length, 1e-12)
        for end, (at, into) in enumerate(((first, way), (second, -way))):
            if bolt.pair[end] in parts:
                yield Seat(i, bolt.pair[end], bolt.ends[end], at, into, length)


def probes(bolts: tuple[Bolt, ...], solids: Mapping[str, m3.Manifold]) -> Iterator[Probe]:
    """Probe every end of every bolt, part by part."""
    seats = list(seats_of(bolts, solids))
    for part in sorted({seat.part for seat in seats}):
        here = [seat for seat in seats if seat.part == part]
        far = [EDGE_REACH * max(bolts[s.bolt].hole_mm, bearing_radius_mm(bolts[s.bolt], s.kind)) for s in here]
        deep = [min(GAUGE_MM[1], 0.3 * seat.length_mm) for seat in here]
        discs = [rod(s, GAUGE_MM[0], d, r) for s, d, r in zip(here, deep, far, strict=True)]
        pins = [_pin(bolts[seat.bolt], seat) for seat in here]
        rings = [_ring(bolts[seat.bolt], seat) for seat in here]
        round_them = [rod(s, -OVER_MM - 1.0, s.length_mm + 1.0, r + 1.0) for s, r in zip(here, far, strict=True)]
        near = m3.Manifold.batch_boolean(round_them, m3.OpType.Add) ^ solids[part]  # all that any gauge can meet
        near.volume()  # works it out now, or each boolean with it would begin with the whole part again
        voids = met(near, here, discs, inside=False)
        stops = met(near, here, pins, inside=True)
        bears = met(near, here, rings, inside=True)
        for k, seat in enumerate(here):
            bore = _bore(seat, voids[k])
            edges = [reach_mm(seat, lump)[0] for lump in voids[k] if lump is not bore]
            if bore is not None and reach_mm(seat, bore)[1] > 0.9 * far[k]:
                edges.append(0.0)
            above = [lump.volume for lump in stops[k] if (lump.centre - seat.at) @ seat.way < 0]
            yield Probe(
                seat=seat,
                off_mm=None if bore is None else off_axis(seat, bore.centre)[0],
                bore_mm=0.0 if bore is None else 2 * float(np.sqrt(bore.volume / (np.pi * (deep[k] - GAUGE_MM[0])))),
                edge_mm=min(edges, default=far[k]),
                searched_mm=far[k],
                shank_mm3=sum(lump.volume for lump in stops[k]) - sum(above),
                above_mm3=sum(above),
                share=sum(lump.volume for lump in bears[k]) / rings[k].volume() if _has_washer(seat) else None,
            )


def bearing_radius_mm(bolt: Bolt, kind: str) -> float:
    """Radius of an ISO 7089 washer, or within the nut's flats in a pocket."""
    data = bolt_data(bolt.size)
    return (data.nut_s_mm if kind == "pocket" else data.washer.od_mm) / 2.0


def named(bolt: Bolt, index: int) -> str:
    """A bolt in words."""
    at = np.mean(np.asarray(bolt.seats_mm, float), axis=0) + 0.0
    return f"bolt {index + 1} ({bolt.size}, at {at[0]:.0f}, {at[1]:.0f}, {at[2]:.0f})"


def told(faults: list[str], most: int = 5) -> str:
    """The first few faults in one line."""
    more = f"; and {len(faults) - most} more" if len(faults) > most else ""
    return "; ".join(faults[:most]) + more


def _has_washer(seat: Seat) -> bool:
    """Whether a washer or a nut bears on this seat."""
    return seat.kind in ("washer", "pocket")


def _pin(bolt: Bolt, seat: Seat) -> m3.Manifold:
    """What must stay free: the shank from seat to seat, and the washer's room over the seat."""
    shank = rod(seat, 0.0, seat.length_mm, bolt_data(bolt.size).d_mm / 2.0)
    if not _has_washer(seat):
        return shank
    return m3.Manifold.compose([shank, rod(seat, -OVER_MM, -0.05, bearing_radius_mm(bolt, seat.kind) - 0.05)])


def _ring(bolt: Bolt, seat: Seat) -> m3.Manifold:
    """What must be there: a thin ring under the washer."""
    outer = rod(seat, *UNDER_MM, bearing_radius_mm(bolt, seat.kind))
    return outer - rod(seat, -1.0, 1.0, bolt.hole_mm / 2.0 + 0.05)


def _bore(seat: Seat, voids: list[Lump]) -> Lump | None:
    """The void that holds the bolt's axis, or nearly."""
    near = [v for v in voids if np.linalg.norm(off_axis(seat, v.centre)) < ON_AXIS_MM and v.volume > 0.1]
    return max(near, key=lambda void: void.volume) if near else None
