"""The pieces go together in one way only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import manifold3d as m3
import numpy as np

from shellgen.checks.bench import Bench
from shellgen.checks.finding import Finding
from shellgen.envelope.raster import FloatArray

TITLE = "registration has one solution"
LIMIT_MM3 = 5.0
GIVES_WAY = 0.02  # share of the rubber that can be squeezed aside: its keys alone stop nobody
SLAB_MM = 14.0  # keys and flanges lie within this of the parting; solids are tried there first
SIMPLER_MM = 0.2  # how far the slabs' triangles may be off, for speed
MATCH_MM = 1.0  # holes nearer than this count as on one another
FEWEST_BOLTS = 2  # with fewer bolts in, a piece is not closed but leans


def check(bench: Bench) -> Finding:
    """Each other way of closing two bolted pieces is tried on the solids, and must collide.

    A way that lets fewer than two bolts in is no closing. Tried are half turns about the parting's normal (about the
    bolts' middle, and where a third of the holes fall on others), the second piece turned over, and shifts along the
    flange by one bolt. The rubber lies in the first piece.
    """
    faults, tried, loose, least = [], 0, 0, np.inf
    for one, other in combinations((part.name for part in bench.shells), 2):
        bolts = [b for b in bench.mold.design.bolts if set(b.pair) == {one, other} and b.setup == "closing"]
        if len(bolts) < 2:
            continue
        ends = np.array([b.seats_mm for b in bolts], float)
        middles = ends.mean(1)
        normal = (ends[:, 1] - ends[:, 0]).mean(0)
        normal /= np.linalg.norm(normal)
        level = _parting_level(bench, (one, other), normal, middles)
        trial = _Trial(bench, one, other, normal, level)
        for says, motion in other_closings(middles, normal, level):
            tried += 1
            if _holes_that_meet(middles, motion) < FEWEST_BOLTS:
                loose += 1
                continue
            volume = trial.collision_mm3(motion)
            least = min(least, volume)
            if volume <= LIMIT_MM3:
                faults.append(f"{other} also closes on {one} {says} ({volume:.1f} mm³ in the way)")
    if not tried:
        says = "no two pieces are bolted together: nothing holds them in register"
        return Finding("one-way", TITLE, "fail", None, LIMIT_MM3, "mm³", says)
    says = "; ".join(faults) or f"{tried} other ways of closing were tried: " + " and ".join(
        part
        for part in (
            f"{tried - loose} collide" if tried > loose else "",
            f"{loose} let no two bolts in" if loose else "",
        )
        if part
    )
    value = float(least) if np.isfinite(least) else None
    return Finding("one-way", TITLE, "fail" if faults else "pass", value, LIMIT_MM3, "mm³", says)


def _holes_that_meet(middles: FloatArray, motion: FloatArray) -> int:
    """How many bolts (n, 3) find a hole after the motion."""
    moved = middles @ motion[:3, :3].T + motion[:3, 3]
    return int(_matches(middles, moved[None])[0])


def _parting_level(bench: Bench, pair: tuple[str, str], normal: FloatArray, middles: FloatArray) -> float:
    """Where along the bolts' axis the two pieces meet: at their keys, or midway between the seats."""
    keys = [key.at_mm for key in bench.mold.design.keys if set(key.pair) == set(pair)]
    found: FloatArray = (np.array(keys, float) if keys else middles) @ normal
    return float(found.mean())


@dataclass(frozen=True)
class _Trial:
    """Two pieces to be closed in some other way."""

    bench: Bench
    one: str
    other: str
    normal: FloatArray
    level: float

    @cached_property
    def _slabs(self) -> dict[str, m3.Manifold]:
        return {}

    def _near(self, name: str) -> m3.Manifold:
        """What of a part lies near the parting, in few triangles."""
        if name not in self._slabs:
            vertices = self.bench.parts[name].vertices_mm
            self._slabs[name] = _slab(self.bench.solid(name), vertices, self.normal, self.level)
        return self._slabs[name]

    def collision_mm3(self, motion: FloatArray) -> float:
        """What the other piece, moved, has in common with the first and with the rubber in it.

        Near the parting first; only what passes there is tried with all of the solids. Rubber counts where more is
        in the way than would give way.
        """
        volume = 0.0
        for solid in (self._near, self.bench.solid):
            moved = solid(self.other).transform(motion[:3])
            volume = float((solid(self.one) ^ moved).volume())
            if volume > LIMIT_MM3:
                return volume
            for rubber in self.bench.jackets:
                squeezed = float((solid(rubber.name) ^ moved).volume())
                volume += squeezed if squeezed > GIVES_WAY * rubber.volume_mm3 else 0.0
            if volume > LIMIT_MM3:
                return volume
        return volume


def _slab(solid: m3.Manifold, vertices_mm: FloatArray, normal: FloatArray, level: float) -> m3.Manifold:
    """What of a solid lies near the parting, in fewer triangles."""
    reach = vertices_mm @ normal
    if reach.min() < level - SLAB_MM:
        solid = solid.trim_by_plane(tuple(normal.tolist()), level - SLAB_MM)
    if reach.max() > level + SLAB_MM:
        solid = solid.trim_by_plane(tuple((-normal).tolist()), -level - SLAB_MM)
    return solid.simplify(SIMPLER_MM)


def other_closings(middles: FloatArray, normal: FloatArray, level: float) -> Iterator[tuple[str, FloatArray]]:
    """Rigid motions (4, 4) of the second piece that lay it on the first in another way, and what they are."""
    flat = middles - np.outer(middles @ normal - level, normal)
    along = np.linalg.svd(flat - flat.mean(0))[2][0]
    along -= (along @ normal) * normal
    along /= np.linalg.norm(along)
    across = np.cross(normal, along)
    plane = np.stack([flat @ along, flat @ across], 1)
    corner = (plane.min(0) + plane.max(0)) / 2.0
    centre = corner[0] * along + corner[1] * across + level * normal
    yield "turned half round", half_turn(normal, centre)
    matched, count = _best_centre(flat)
    if count >= max(2, len(flat) / 3) and np.linalg.norm(matched - centre) > MATCH_MM:
        yield "turned half round on other bolts", half_turn(normal, matched)
    yield "turned over its length", half_turn(along, centre)
    yield "turned over its width", half_turn(across, centre)
    step = _best_step(flat)
    for sign, says in ((1.0, "one bolt on"), (-1.0, "one bolt back")):
        motion = np.eye(4)
        motion[:3, 3] = sign * step
        yield f"shifted {says}", motion


def half_turn(axis: FloatArray, centre: FloatArray) -> FloatArray:
    """Half a turn about an axis (unit) through a point."""
    motion = np.eye(4)
    motion[:3, :3] = 2.0 * np.outer(axis, axis) - np.eye(3)
    motion[:3, 3] = centre - motion[:3, :3] @ centre
    return motion


def _best_centre(holes: FloatArray) -> tuple[FloatArray, int]:
    """The centre about which a half turn lays most holes on holes, and how many."""
    i, j = np.triu_indices(len(holes))
    centres = (holes[i] + holes[j]) / 2.0
    counts = _matches(holes, 2.0 * centres[:, None] - holes[None])
    best = int(counts.argmax())
    return centres[best], int(counts[best])


def _best_step(holes: FloatArray) -> FloatArray:
    """The shift from a hole to its nearest neighbour that lays most holes on holes."""
    gaps = np.linalg.norm(holes[:, None] - holes[None], axis=2)
    np.fill_diagonal(gaps, np.inf)
    steps = holes[gaps.argmin(1)] - holes
    found: FloatArray = steps[int(_matches(holes, holes[None] + steps[:, None]).argmax())]
    return found


def _matches(holes: FloatArray, moved: FloatArray) -> FloatArray:
    """How many of the moved holes (c, n, 3) fall on a hole (n, 3), for each of c motions."""
    from scipy.spatial import cKDTree

    away = cKDTree(holes).query(moved.reshape(-1, 3))[0].reshape(moved.shape[:2])
    return np.asarray((away < MATCH_MM).sum(1), float)
