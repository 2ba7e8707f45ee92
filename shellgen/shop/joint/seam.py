"""A seam: bolts at their real distances along a flange, its two ends, and the opening between them. N, mm, MPa."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shellgen.errors import DesignError
from shellgen.shop.joint.beam import BeamModel, BeamState, Floats, solve
from shellgen.shop.joint.closed_forms import foundation_decay_per_mm
from shellgen.shop.joint.section import JointSection


@dataclass(frozen=True, slots=True)
class SeamLine:
    """Bolts along the flange between two parts.

    spans_mm : distances along the flange from bolt to bolt; n bolts have n - 1 spans, in a closed seam n.
    ends_mm : flange beyond the first and the last bolt; None for a closed seam.
    """

    pair: tuple[str, str]
    spans_mm: tuple[float, ...]
    ends_mm: tuple[float, float] | None

    def __post_init__(self) -> None:
        """Refuse spans that are not lengths."""
        name = f"seam {self.pair[0]}-{self.pair[1]}"
        lengths = self.spans_mm + (self.ends_mm or ())
        if not all(math.isfinite(s) and s >= 0 for s in lengths) or 0 in self.spans_mm:
            raise DesignError(f"{name}: spans must be above zero, ends zero or more.")
        if self.ends_mm is None and not self.spans_mm:
            raise DesignError(f"{name}: a closed seam needs at least one bolt.")

    @property
    def bolts(self) -> int:
        """Number of bolts."""
        return len(self.spans_mm) + (0 if self.ends_mm is None else 1)

    @property
    def length_mm(self) -> float:
        """Whole length of flange."""
        return sum(self.spans_mm) + sum(self.ends_mm or ())


@dataclass(frozen=True, slots=True)
class Clamp:
    """What each bolt does: its preload, its stiffness against opening, and how far along the seam its seat presses.

    seat_mm : diameter of the washer, over which the force is spread evenly; 0 for a clamp at a point.
    """

    preload_n: float
    stiffness_n_per_mm: float
    seat_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class SeamState:
    """The solved seam, node by node along it.

    at_mm : (n,) place; opening_mm : (n,) above zero where the faces part; contact_mpa : (n,) pressure on the face.
    bolt_nodes : node of each bolt. bolt_force_n : force in each bolt under load.
    """

    at_mm: Floats
    opening_mm: Floats
    contact_mpa: Floats
    bolt_nodes: tuple[int, ...]
    bolt_force_n: tuple[float, ...]
    state: BeamState

    def span_nodes(self, index: int) -> NDArray[np.int64]:
        """Numbers of the nodes from bolt `index` to the next, both included; the last span of a ring wraps."""
        first = self.bolt_nodes[index]
        if index + 1 < len(self.bolt_nodes):
            return np.arange(first, self.bolt_nodes[index + 1] + 1)
        return np.append(np.arange(first, len(self.at_mm)), self.bolt_nodes[0])


def solve_seam(
    line: SeamLine,
    section: JointSection,
    clamp: Clamp,
    load_n_per_mm: float,
    *,
    pulls_n: Mapping[int, float] | None = None,
    step_mm: float | None = None,
) -> SeamState:
    """Opening and contact along a seam under a uniform load that parts it.

    pulls_n : forces that part the faces midway in single spans, by number of the span.

    Two steps: the bolts are tightened to their preload, then each follows the load as a spring about that state.
    step_mm : greatest element; by default a fifth of Hetenyi's length 1 / lambda, and at least 16 to a span.
    Raises DesignError where two washers overlap.
    """
    bending, foundation = section.bending_nmm2(), section.foundation_mpa()
    step = step_mm or 0.2 / foundation_decay_per_mm(foundation_mpa=foundation, bending_nmm2=bending)
    mesh = _Mesh(line, clamp.seat_mm, step, least=1 if step_mm else 16)
    stiffness, preload = clamp.stiffness_n_per_mm, clamp.preload_n
    tightened = BeamModel(
        lengths_mm=mesh.elements,
        ring=mesh.ring,
        bending_nmm2=bending,
        foundation_mpa=foundation,
        two_sided=False,
        load_n_per_mm=mesh.seat_load([-preload] * line.bolts),
        bed_mpa=np.zeros(len(mesh.elements)),
        forces_n=mesh.node_values([-preload] * line.bolts),
        springs_n_per_mm={},
    )
    before = solve(tightened)
    loaded = replace(
        tightened,
        load_n_per_mm=load_n_per_mm + tightened.load_n_per_mm,
        bed_mpa=mesh.seat_load([stiffness] * line.bolts),
        springs_n_per_mm=mesh.node_values([stiffness] * line.bolts),
        rest=before,
        forces_n=mesh.with_pulls(tightened.forces_n, pulls_n or {}),
    )
    state = solve(loaded)
    u = state.deflection_mm
    stretch = u - before.deflection_mm
    face = min(section.first.face_mm, section.second.face_mm)
    return SeamState(
        at_mm=np.concatenate([[0.0], np.cumsum(mesh.elements)])[: loaded.nodes],
        opening_mm=np.maximum(u, 0.0),
        contact_mpa=foundation * np.maximum(-u, 0.0) / face,
        bolt_nodes=mesh.bolt_nodes,
        bolt_force_n=tuple(preload + stiffness * mesh.at_seat(stretch, i) for i in range(line.bolts)),
        state=state,
    )


class _Mesh:
    """Elements of a seam with nodes at its bolts and at the edges of their seats."""

    def __init__(self, line: SeamLine, seat_mm: float, step_mm: float, least: int) -> None:
        self.ring = line.ends_mm is None
        half = seat_mm / 2.0
        lengths: list[tuple[float, int | None, int]] = []  # length, bolt whose seat it is, least number of elements
        last = line.bolts - 1
        if line.ends_mm is not None:
            lengths += [(max(line.ends_mm[0] - half, 0.0), None, 1), (min(half, line.ends_mm[0]), 0, 1)]
        for i, span in enumerate(line.spans_mm):
            if span < seat_mm:
                raise DesignError(
                    f"seam {line.pair[0]}-{line.pair[1]}: bolts {span:.1f} mm apart, but their washers are "
                    f"{seat_mm:g} mm wide. Use a pitch of {seat_mm:g} mm or more."
                )
            following = (i + 1) % line.bolts
            lengths += [(half, i, 1), (span - seat_mm, None, least), (half, following, 1)]
        if line.ends_mm is not None:
            lengths += [(min(half, line.ends_mm[1]), last, 1), (max(line.ends_mm[1] - half, 0.0), None, 1)]
        counts = [max(n, math.ceil(length / step_mm - 1e-9)) if length > 1e-9 else 0 for length, _, n in lengths]
        counts = [n + (n % 2 if bolt is None else 0) for n, (_, bolt, _) in zip(counts, lengths, strict=True)]
        self.elements: Floats = np.concatenate(
            [np.full(n, length / max(n, 1)) for (length, _, _), n in zip(lengths, counts, strict=True)]
        )
        owner = [-1 if bolt is None else bolt for _, bolt, _ in lengths]
        self.owner = np.repeat(owner, counts)
        starts = np.concatenate([[0], np.cumsum(counts)])
        self.bolt_nodes = tuple(int(starts[3 * i + (0 if self.ring else 2)]) for i in range(line.bolts))
        shift = 1 if self.ring else 3
        self.middles = tuple(int(starts[3 * i + shift] + counts[3 * i + shift] // 2) for i in range(len(line.spans_mm)))
        self.covered = np.bincount(self.owner + 1, weights=self.elements, minlength=line.bolts + 1)[1:]

    def seat_load(self, values: list[float]) -> Floats:
        """Values per bolt spread over its seat, by element; nothing for clamps at a point."""
        spread = np.append(np.divide(values, self.covered, out=np.zeros(len(values)), where=self.covered > 0), 0.0)
        return np.asarray(spread[self.owner])

    def node_values(self, values: list[float]) -> dict[int, float]:
        """Values per bolt at its node, where it has no seat."""
        return {n: v for n, v, c in zip(self.bolt_nodes, values, self.covered, strict=True) if c <= 0}

    def with_pulls(self, forces_n: Mapping[int, float], pulls_n: Mapping[int, float]) -> dict[int, float]:
        """Nodal forces with those midway in spans added."""
        out = dict(forces_n)
        for span, force in pulls_n.items():
            out[self.middles[span]] = out.get(self.middles[span], 0.0) + force
        return out

    def at_seat(self, nodal: Floats, bolt: int) -> float:
        """Mean of a nodal field over a bolt's seat, or its value at the bolt."""
        mine = np.flatnonzero(self.owner == bolt)
        if len(mine) == 0:
            return float(nodal[self.bolt_nodes[bolt]])
        after = (mine + 1) % len(nodal)
        return float(np.sum((nodal[mine] + nodal[after]) / 2.0 * self.elements[mine]) / self.covered[bolt])
