"""A beam that can lift off an elastic foundation: cubic finite elements, point loads and springs, solved banded.

    E I u'''' + k u [where pressed, u < 0] = q + forces - (bed + springs) (u - rest)

Deflection u is positive where the beam lifts. The energy is convex, so Newton's method on the set of pressed points
with a step that never lets the energy grow ends at the one solution.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from shellgen.errors import KernelError

Floats = NDArray[np.float64]
_GAUSS = np.polynomial.legendre.leggauss(4)
_XI = (_GAUSS[0] + 1.0) / 2.0
_WEIGHT = _GAUSS[1] / 2.0


@dataclass(frozen=True, slots=True, eq=False)
class BeamModel:
    """What is solved. Elements (m,) join node i to i + 1; in a ring the last one joins the last node to the first.

    lengths_mm : (m,). bending_nmm2 : E I. foundation_mpa : k per length. two_sided : the foundation also pulls.
    load_n_per_mm : (m,) uniform on each element, positive lifts. bed_mpa : (m,) springs per length that press and pull.
    forces_n, springs_n_per_mm : by node. rest : the state in which bed and springs carry nothing, straight if None.
    """

    lengths_mm: Floats
    ring: bool
    bending_nmm2: float
    foundation_mpa: float
    two_sided: bool
    load_n_per_mm: Floats
    bed_mpa: Floats
    forces_n: dict[int, float]
    springs_n_per_mm: dict[int, float]
    rest: BeamState | None = None

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.lengths_mm) + (0 if self.ring else 1)


@dataclass(frozen=True, slots=True, eq=False)
class BeamState:
    """The solution by node: deflection [mm], slope [1], and the moment E I u'' [N mm] as the mean of its elements."""

    deflection_mm: Floats
    slope: Floats
    moment_nmm: Floats
    rounds: int


def solve(model: BeamModel, most_rounds: int = 80) -> BeamState:
    """Deflection of the beam. Raises KernelError if it is held by nothing or the contact does not settle."""
    system = _System(model)
    pressed = np.ones((len(model.lengths_mm), len(_XI)), dtype=bool)
    u = system.solve(pressed)
    if model.two_sided:
        return system.state(u, 1)
    for rounds in range(1, most_rounds + 1):
        pressed = system.at_points(u) < 0.0
        new = system.solve(pressed)
        step = 1.0
        energy = system.energy(u)
        while step > 1e-4 and system.energy(u + step * (new - u)) > energy + 1e-12 * abs(energy):
            step /= 2.0
        settled = float(np.abs(new - u).max()) <= 1e-9 * float(np.abs(new).max())
        u = u + step * (new - u)
        if settled or (step == 1.0 and np.array_equal(system.at_points(u) < 0.0, pressed)):
            return system.state(u, rounds)
    raise KernelError("the contact of the bolted joint did not settle. Use a thicker flange or more torque.")


class _System:
    """Element matrices of one model, their assembly in banded form, and its energy."""

    def __init__(self, model: BeamModel) -> None:
        self.model = model
        n, m = model.nodes, len(model.lengths_mm)
        left = np.arange(m)
        right = (left + 1) % n
        place = _fold(n) if model.ring else np.arange(n)
        self.dofs = np.stack([2 * place[left], 2 * place[left] + 1, 2 * place[right], 2 * place[right] + 1], axis=1)
        self.place = place
        self.size = 2 * n
        self.band = int(np.max(self.dofs.max(axis=1) - self.dofs.min(axis=1)))
        h = model.lengths_mm
        self.shape = _shapes(_XI, h)
        self.always = model.bending_nmm2 * _bending(h)
        bed = np.einsum("m,g,m,mgi,mgj->mij", model.bed_mpa, _WEIGHT, h, self.shape, self.shape)
        self.always += bed
        self.point_weight = model.foundation_mpa * _WEIGHT * h[:, None]
        self.force = np.zeros(self.size)
        np.add.at(self.force, self.dofs, np.einsum("mgi,g,m,m->mi", self.shape, _WEIGHT, h, model.load_n_per_mm))
        for node, value in model.forces_n.items():
            self.force[2 * place[node]] += value
        if model.rest is not None:
            rest = np.empty(self.size)
            rest[2 * place], rest[2 * place + 1] = model.rest.deflection_mm, model.rest.slope
            np.add.at(self.force, self.dofs, np.einsum("mij,mj->mi", bed, rest[self.dofs]))
            for node, stiffness in model.springs_n_per_mm.items():
                self.force[2 * place[node]] += stiffness * rest[2 * place[node]]

    def solve(self, pressed: NDArray[np.bool_]) -> Floats:
        weight = np.where(pressed, self.point_weight, 0.0)
        element = self.always + np.einsum("mg,mgi,mgj->mij", weight, self.shape, self.shape)
        banded = np.zeros((self.band + 1, self.size))
        for i in range(4):
            for j in range(4):
                row, column = self.dofs[:, i], self.dofs[:, j]
                lower = row >= column
                np.add.at(banded, (row[lower] - column[lower], column[lower]), element[lower, i, j])
        for node, value in self.model.springs_n_per_mm.items():
            banded[0, 2 * self.place[node]] += value
        try:
            return np.asarray(solveh_banded(banded, self.force, lower=True))
        except np.linalg.LinAlgError as error:
            raise KernelError("the flange is held by nothing: no bolt and no contact. Add bolts or torque.") from error

    def at_points(self, u: Floats) -> Floats:
        """Deflection (m, points) at the points of integration."""
        return np.asarray(np.einsum("mgi,mi->mg", self.shape, u[self.dofs]))

    def energy(self, u: Floats) -> float:
        local = u[self.dofs]
        stored = 0.5 * float(np.einsum("mi,mij,mj->", local, self.always, local))
        stored += 0.5 * float(np.sum(self.point_weight * np.minimum(self.at_points(u), 0.0) ** 2))
        stored += sum(0.5 * k * float(u[2 * self.place[i]]) ** 2 for i, k in self.model.springs_n_per_mm.items())
        return stored - float(self.force @ u)

    def state(self, u: Floats, rounds: int) -> BeamState:
        ends = np.array([0.0, 1.0])
        curvature = np.einsum("mgi,mi->mg", _curvatures(ends, self.model.lengths_mm), u[self.dofs])
        n = self.model.nodes
        total, count = np.zeros(n), np.zeros(n)
        left = np.arange(len(self.model.lengths_mm))
        for nodes, values in ((left, curvature[:, 0]), ((left + 1) % n, curvature[:, 1])):
            np.add.at(total, nodes, values)
            np.add.at(count, nodes, 1.0)
        deflection = u[2 * self.place]
        return BeamState(deflection, u[2 * self.place + 1], self.model.bending_nmm2 * total / count, rounds)


def _fold(n: int) -> NDArray[np.int64]:
    """Place of each node of a ring so that neighbours lie at most two apart: 0, n-1, 1, n-2, ..."""
    place = np.empty(n, dtype=np.int64)
    order: Any = np.arange(n)
    front, back = order[: (n + 1) // 2], order[(n + 1) // 2 :][::-1]
    place[front] = 2 * np.arange(len(front))
    place[back] = 2 * np.arange(len(back)) + 1
    return place


def _shapes(xi: Floats, h: Floats) -> Floats:
    """Cubic shape functions (m, points, 4) for (u, slope) at both ends of elements of length h."""
    x, length = xi[None, :], h[:, None]
    one = np.ones_like(length)
    return np.stack(
        [
            (1 - 3 * x**2 + 2 * x**3) * one,
            length * (x - 2 * x**2 + x**3),
            (3 * x**2 - 2 * x**3) * one,
            length * (x**3 - x**2),
        ],
        axis=2,
    )


def _curvatures(xi: Floats, h: Floats) -> Floats:
    """Second derivatives of the shape functions (m, points, 4)."""
    x, length = xi[None, :], h[:, None]
    return np.stack(
        [
            (12 * x - 6) / length**2,
            (6 * x - 4) / length,
            (6 - 12 * x) / length**2,
            (6 * x - 2) / length,
        ],
        axis=2,
    )


def _bending(h: Floats) -> Floats:
    """Bending matrices (m, 4, 4) of unit E I."""
    one = np.ones_like(h)
    rows = [
        [12 * one, 6 * h, -12 * one, 6 * h],
        [6 * h, 4 * h**2, -6 * h, 2 * h**2],
        [-12 * one, -6 * h, 12 * one, -6 * h],
        [6 * h, 2 * h**2, -6 * h, 4 * h**2],
    ]
    return np.stack([np.stack(row, axis=1) for row in rows], axis=1) / (h**3)[:, None, None]
