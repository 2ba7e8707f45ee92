"""Closed bodies as solids: from triangles, united, hollows filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.topology import part_sums, split_fans, topology

Solid = Any  # manifold3d.Manifold; the library is loaded on demand
DUST = 1e-6  # share of the volume under which a loose body is dust
_ROUNDS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One closed surface: vertices (n, 3), faces (m, 3); volume negative where it bounds a hollow. box : (2, 3)."""

    vertices: FloatArray
    faces: IntArray
    volume_mm3: float

    @property
    def box(self) -> FloatArray:
        """(2, 3): least and greatest corner."""
        return np.array([self.vertices.min(0), self.vertices.max(0)])


def solid_from(vertices: FloatArray, faces: IntArray) -> Solid | None:
    """The solid inside closed triangles with outward normals; None if the kernel refuses them or they hold nothing."""
    import manifold3d as m3

    mesh = m3.Mesh64(np.array(vertices, np.float64, order="C"), np.array(faces, np.uint64, order="C"))
    solid = m3.Manifold(mesh)
    return solid if solid.status() == m3.Error.NoError and solid.volume() > 0 else None


def triangles_of(solid: Solid) -> tuple[FloatArray, IntArray]:
    """Vertices (n, 3) and faces (m, 3) of a solid."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3], np.float64, order="C"), np.array(mesh.tri_verts, np.int32, order="C")


def bodies_of(solid: Solid) -> list[Body]:
    """The closed surfaces of a solid, hollows among them."""
    return bodies_in(*triangles_of(solid))


def bodies_in(vertices: FloatArray, faces: IntArray) -> list[Body]:
    """The closed surfaces among closed triangles, as they are turned. Time grows with the triangles only."""
    top = topology(vertices, faces)
    sums = part_sums(vertices, top.faces, top.part, top.parts)
    if top.parts == 1:
        return [Body(vertices, top.faces, float(sums[0, 0]))]
    vertices, faces = split_fans(vertices, top.faces, top.twins)
    order = np.argsort(top.part, kind="stable")
    ends = np.cumsum(np.bincount(top.part, minlength=top.parts))
    bodies = []
    for part, members in enumerate(np.split(order, ends[:-1])):
        own = faces[members]
        used = np.unique(own)
        bodies.append(Body(vertices[used], np.searchsorted(used, own).astype(np.int32), float(sums[part, 0])))
    return bodies


def outward(bodies: Sequence[Body]) -> list[Body]:
    """Every body with its normals outward, hollows turned into bodies; folded sheets without volume dropped."""
    least = 1e-12 * sum(abs(body.volume_mm3) for body in bodies)
    full = [body for body in bodies if abs(body.volume_mm3) > least]
    return [b if b.volume_mm3 > 0 else Body(b.vertices, b.faces[:, [0, 2, 1]], -b.volume_mm3) for b in full]


def united(solids: Sequence[Solid]) -> Solid:
    """The union of solids; apart ones stay apart, one inside another adds nothing."""
    import manifold3d as m3

    if len(solids) == 1:
        return solids[0]
    return m3.Manifold.batch_boolean(list(solids), m3.OpType.Add)


def bodies_united(bodies: Sequence[Body]) -> Solid | None:
    """The union of bodies that may overlap or contain each other; None if the kernel refuses one of them.

    Bodies whose boxes meet no other are taken over together, so that thousands of loose ones cost little.
    """
    if not bodies:
        return None
    meets = _boxes_meet(np.array([body.box for body in bodies]))
    solids = [solid_from(body.vertices, body.faces) for body, met in zip(bodies, meets, strict=True) if met]
    alone = [body for body, met in zip(bodies, meets, strict=True) if not met]
    if alone:
        solids.append(_side_by_side(alone))
    return None if any(solid is None for solid in solids) else united(solids)


def tidied(solid: Solid) -> tuple[Solid, int]:
    """The solid without closed hollows (rubber never gets in there) and without dust: (solid, specks of dust).

    Dust hangs on by pinched corners at times and falls off when the rest is read again, hence the rounds.
    """
    specks = 0
    for _ in range(_ROUNDS):
        bodies = bodies_of(solid)
        least = DUST * solid.volume()
        large = [body for body in bodies if body.volume_mm3 > least]
        if len(large) == len(bodies) or not large:
            break
        specks += sum(1 for body in bodies if 0 < body.volume_mm3 <= least)
        hollows = [body.box for body in bodies if body.volume_mm3 < -least]
        shut_in = any(_within(body.box, hollow) for hollow in hollows for body in large)
        solid = (bodies_united(large) if shut_in else _side_by_side(large)) or solid
    return solid, specks


def as_read(solid: Solid) -> Solid:
    """The solid as a reader in single precision sees it, without the needles that it folds flat into loose bodies."""
    import manifold3d as m3

    for _ in range(_ROUNDS):
        vertices, faces = triangles_of(solid)
        read = m3.Manifold(m3.Mesh(np.round(vertices, 5).astype(np.float32), faces.astype(np.uint32)))
        if read.status() != m3.Error.NoError:
            break
        before, solid = len(faces), tidied(read)[0]
        if solid.num_tri() == before:
            break
    return solid


def _within(inner: FloatArray, outer: FloatArray) -> bool:
    return bool((inner[0] >= outer[0]).all() and (inner[1] <= outer[1]).all())


def _side_by_side(bodies: Sequence[Body]) -> Solid | None:
    """Bodies that do not overlap as one solid, as they are."""
    shift = np.cumsum([0, *(len(body.vertices) for body in bodies)])
    faces = [body.faces + int(by) for body, by in zip(bodies, shift[:-1], strict=True)]
    return solid_from(np.vstack([body.vertices for body in bodies]), np.vstack(faces))


def _boxes_meet(boxes: FloatArray) -> npt.NDArray[np.bool_]:
    """Which boxes (n, 2, 3) touch another one: a sweep along x."""
    order = np.argsort(boxes[:, 0, 0], kind="stable")
    low, high = boxes[order, 0], boxes[order, 1]
    met = np.zeros(len(boxes), bool)
    ends = np.searchsorted(low[:, 0], high[:, 0], side="right")
    for i in range(len(boxes)):
        near = slice(i + 1, int(ends[i]))
        touch = ((low[near, 1:] <= high[i, 1:]) & (high[near, 1:] >= low[i, 1:])).all(axis=1)
        met[order[near][touch]] = True
        met[order[i]] |= bool(touch.any())
    return met
