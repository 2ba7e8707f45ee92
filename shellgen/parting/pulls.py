"""Which way each piece between planes leaves, and the order in which all go together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.parting.mating import Meeting
from shellgen.parting.split import Bound, Lump

LEAST_DEG = 15.0  # between a pull and a mating plane that it does not lie in: less makes knife edges
ALONG = 1e-6  # a pull that near to a plane, as a sine, lies in it
TRIES = 20_000  # directions among which the nearest pull that works is looked for: 1 degree apart or less


def pulls(
    lumps: Sequence[Lump], meetings: Sequence[Meeting], given: Mapping[str, FloatArray], on_board: bool
) -> dict[str, FloatArray]:
    """The pull (3,) of each piece: as given, or the bisector of the normals of its mating planes into it.

    Where a piece has upright planes and level ones, the upright ones decide and it slides along the level ones; if
    two such pieces lie on each other, the upper one's pull takes in the plane between them. Raises DesignError where a
    piece cannot leave, with the nearest pull or plane that works.
    """
    found = {}
    for lump in lumps:
        mates = mating_bounds(lump, meetings)
        pull = given.get(lump.name)
        if pull is None:
            upright = [b for b in mates if b.upright]
            pull = bisector([b.normal for b in (upright or mates)])
        found[lump.name] = pull
    of = {lump.name: lump for lump in lumps}
    for meet in meetings:
        bounds = [_bound(of[name], meet.plane) for name in meet.pair]
        if any(abs(float(b.normal @ found[name])) > ALONG for b, name in zip(bounds, meet.pair, strict=True)):
            continue
        upper = meet.pair[int(bounds[1].normal[2] > bounds[0].normal[2])]
        if upper not in given:
            mates = [b for b in mating_bounds(of[upper], meetings) if not b.level or b.normal[2] > 0]
            found[upper] = bisector([b.normal for b in mates])
    for lump in lumps:
        _require(lump, mating_bounds(lump, meetings), found[lump.name], lump.name in given, on_board)
    for meet in meetings:
        bounds = [_bound(of[name], meet.plane) for name in meet.pair]
        if all(abs(float(b.normal @ found[name])) <= ALONG for b, name in zip(bounds, meet.pair, strict=True)):
            one, other = meet.pair
            away = _words(bisector([bounds[0].normal, found[one]]))
            raise DesignError(
                f"Pieces {one} and {other} both slide along parting.planes[{meet.plane}] between them, so no key can "
                f"hold them there. Let {one} leave that plane: pieces.{one}.pull = {away}."
            )
    return found


def mating_bounds(lump: Lump, meetings: Sequence[Meeting]) -> list[Bound]:
    """The planes at which a piece meets others."""
    numbers = {m.plane for m in meetings if lump.name in m.pair}
    return [b for b in lump.bounds if b.plane in numbers]


def stands(lump: Lump) -> bool:
    """Whether a piece reaches down to the board."""
    return not any(b.level and b.normal[2] > 0 for b in lump.bounds)


def _bound(lump: Lump, plane: int) -> Bound:
    return next(b for b in lump.bounds if b.plane == plane)


def bisector(normals: Sequence[FloatArray]) -> FloatArray:
    """The unit vector whose least cosine with any of the normals is greatest; their sum for one or two."""
    tries = []
    for size in (1, 2, 3):
        for some in combinations(normals, size):
            rows = np.stack(some)
            way = np.linalg.lstsq(rows, np.ones(size), rcond=None)[0]
            length = float(np.linalg.norm(way))
            if length > 1e-9:
                tries.append(way / length)
    worth = [min(float(n @ t) for n in normals) for t in tries]
    best = tries[int(np.argmax(np.round(worth, 9)))]
    best[np.abs(best) < 1e-12] = 0.0
    return np.asarray(best / np.linalg.norm(best), float)


def _require(lump: Lump, mates: Sequence[Bound], pull: FloatArray, given: bool, on_board: bool) -> None:
    """Refuse a pull that does not take its piece out of its cell."""
    held = on_board and stands(lump)
    sines = {b.plane: float(b.normal @ pull) for b in mates}
    tilted = held and abs(pull[2]) > ALONG
    bad = [b for b in mates if not _leaves(b, pull, held)]
    if not bad and not tilted and any(s > ALONG for s in sines.values()):
        return
    near = nearest_pull(pull, mates, held)
    key = f"pieces.{lump.name}.pull"
    if given and near is not None:
        if tilted:
            why = "the piece stands on the board, so it must leave level, z = 0"
        elif bad:
            worst = min(bad, key=lambda b: sines[b.plane])
            angle = np.degrees(np.arcsin(np.clip(sines[worst.plane], -1, 1)))
            way = f"runs {-angle:.0f} degrees into" if angle < 0 else f"leaves at only {angle:.0f} degrees from"
            why = f"it {way} parting.planes[{worst.plane}], where the piece must come away by {LEAST_DEG:g} or slide"
        else:
            why = "the piece would slide along all its planes and come away from none"
        raise DesignError(f"{key} = {_words(pull)}: {why}. The nearest pull that works is {_words(near)}.")
    if held and not any(b.upright for b in mates):
        top = next(b.plane for b in mates if b.level)
        raise DesignError(
            f"parting.planes: piece {lump.name} stands on the board under parting.planes[{top}] and no upright plane "
            f'lets it leave. Add one, such as {{angle_deg = 0, splits = "{lump.name}"}}.'
        )
    raise DesignError(_held(lump, mates, near))


def _leaves(bound: Bound, pull: FloatArray, held: bool) -> bool:
    """Whether a pull comes away from a plane, or slides in one where it may."""
    sine = float(bound.normal @ pull)
    if abs(sine) <= ALONG:
        return not (held and bound.upright)
    return sine >= np.sin(np.radians(LEAST_DEG)) - 1e-9


def _held(lump: Lump, mates: Sequence[Bound], near: FloatArray | None) -> str:
    """Words for a piece that its planes hold: which two, and how they would have to stand."""
    if near is not None:
        return (
            f"parting.planes: piece {lump.name} cannot leave along the bisector of its planes. "
            f"Give pieces.{lump.name}.pull = {_words(near)}, the nearest that works."
        )
    one, other = min(combinations(mates, 2), key=lambda two: float(two[0].normal @ two[1].normal))
    wedge = 180.0 - np.degrees(np.arccos(np.clip(one.normal @ other.normal, -1, 1)))
    said = (
        f"parting.planes[{one.plane}] and parting.planes[{other.plane}] are nearly parallel: piece {lump.name} between "
        f"them is a wedge of {wedge:.0f} degrees and cannot leave. Wedges need {2 * LEAST_DEG:g} degrees or more"
    )
    if one.upright and other.upright:
        base, was = (np.degrees(np.arctan2(b.normal[1], b.normal[0])) for b in (one, other))
        side = 1.0 if (was - base) % 360.0 <= 180.0 else -1.0
        angle = (base + side * (180.0 - 2 * LEAST_DEG)) % 180.0
        said += f": the nearest is angle_deg = {angle:.0f} for parting.planes[{other.plane}]"
    return f"{said}."


def nearest_pull(wish: FloatArray, mates: Sequence[Bound], held: bool) -> FloatArray | None:
    """Of all pulls that come away from each plane, or slide in level ones, that nearest to a wish; None if none does.

    held : the piece stands on the board and leaves level.
    """
    k = np.arange(TRIES) + 0.5
    if held:
        turn = 2 * np.pi * np.arange(3600) / 3600
        ways = np.stack([np.cos(turn), np.sin(turn), np.zeros(3600)], 1)
    else:
        z, turn = 1 - 2 * k / TRIES, np.pi * (1 + np.sqrt(5.0)) * k
        ways = np.stack([np.sqrt(1 - z**2) * np.cos(turn), np.sqrt(1 - z**2) * np.sin(turn), z], 1)
    ways = np.concatenate([ways, [bisector([b.normal for b in mates])]])
    good = np.ones(len(ways), bool)
    for b in mates:
        sines = ways @ b.normal
        good &= sines >= np.sin(np.radians(LEAST_DEG + 0.5)) if not (held and b.level) else np.abs(sines) < ALONG
    if not good.any():
        return None
    best = ways[good][int(np.argmax(ways[good] @ wish))]
    return np.asarray(best, float)


def _words(way: FloatArray) -> str:
    return f"[{', '.join(f'{v + 0.0:.3f}' for v in np.round(way, 3) + 0.0)}]"


def order(lumps: Sequence[Lump], meetings: Sequence[Meeting], ways: Mapping[str, FloatArray]) -> tuple[str, ...]:
    """Names as the pieces go together: what slides along a plane first, what comes away from it after.

    Keys hold a sliding piece until its neighbour has left. Raises DesignError where pieces wait for each other.
    """
    of = {lump.name: lump for lump in lumps}
    after: dict[str, set[str]] = {lump.name: set() for lump in lumps}
    for meet in meetings:
        for one, other in (meet.pair, meet.pair[::-1]):
            if abs(float(_bound(of[one], meet.plane).normal @ ways[one])) <= ALONG:
                after[other].add(one)
    done: list[str] = []
    while len(done) < len(lumps):
        ready = [n for n in sorted(after) if n not in done and after[n] <= set(done)]
        if not ready:
            stuck = [n for n in sorted(after) if n not in done]
            raise DesignError(
                f"parting.planes: pieces {', '.join(stuck)} each hold the next and cannot be assembled. Give one of "
                f"them another pull, such as pieces.{stuck[0]}.pull along the bisector of all its planes, "
                f"{_words(bisector([b.normal for b in mating_bounds(of[stuck[0]], meetings)]))}."
            )
        done.append(ready[0])
    return tuple(done)
