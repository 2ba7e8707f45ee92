"""A list of planes, one after the other: the first splits the whole into A and B, each later one splits one piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import PlaneSettings, SplitSettings

NAMES = "ABCDEF"
NEAR_EDGE = 0.05  # the nearest plane that is offered cuts off that share of the piece's length


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """One plane that a piece ends at, in the mold frame: the piece lies where normal @ point >= offset.

    plane : its number in the job's list, from 1; 0 for the board.
    """

    plane: int
    normal: FloatArray
    offset_mm: float

    @property
    def upright(self) -> bool:
        """True where its normal is level."""
        return bool(abs(self.normal[2]) < 1e-9)

    @property
    def level(self) -> bool:
        """True where its normal is upright."""
        return bool(abs(self.normal[2]) > 1.0 - 1e-9)


BOARD = Bound(0, np.array([0.0, 0.0, 1.0]), 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Lump:
    """A piece's share of space: all that lies within its bounds."""

    name: str
    bounds: tuple[Bound, ...]


def split(planes: Sequence[SplitSettings], triangles_mm: FloatArray) -> tuple[Lump, ...]:
    """The pieces that planes make, A, B, ... in order: the half on a plane's normal's side keeps the name.

    triangles_mm : (n, 3, 3) corners of the pattern in the mold frame. Raises DesignError where a plane misses what it
    is to split, or names no piece.
    """
    if not 1 <= len(planes) < len(NAMES):
        raise DesignError(
            f"parting.planes: {len(planes)} planes make {len(planes) + 1} pieces. Give 1 to {len(NAMES) - 1} planes."
        )
    lumps: dict[str, tuple[Bound, ...]] = {"A": ()}
    shares = {"A": triangles_mm}
    for number, plane in enumerate(planes, 1):
        target = plane.splits or max(lumps)
        if target not in lumps:
            there = "the whole, A" if number == 1 else f"{', '.join(lumps)} by then"
            raise DesignError(
                f'parting.planes[{number}].splits = "{target}": there is no such piece; there is {there}. '
                f'Give splits = "{max(lumps)}", or list the plane that makes {target} before this one.'
            )
        normal = normal_of(plane)
        offset = _offset(plane, normal, shares[target], f"parting.planes[{number}]", target, triangles_mm)
        other = NAMES[len(lumps)]
        above, below = halved(shares[target], normal, offset)
        bounds = lumps[target]
        lumps[target], shares[target] = (*bounds, Bound(number, normal, offset)), above
        lumps[other], shares[other] = (*bounds, Bound(number, -normal, -offset)), below
    return tuple(Lump(name, lumps[name]) for name in sorted(lumps))


def normal_of(plane: PlaneSettings) -> FloatArray:
    """Unit normal (3,) of a plane; entries that are nothing but rounding are taken out."""
    if plane.normal is not None:
        normal = np.asarray(plane.normal, float)
    else:
        a = np.radians(float(plane.angle_deg or 0.0))
        normal = np.array([np.cos(a), np.sin(a), 0.0])
    normal = normal / np.linalg.norm(normal)
    normal[np.abs(normal) < 1e-9] = 0.0
    return np.asarray(normal / np.linalg.norm(normal), float)


def _offset(
    plane: PlaneSettings, normal: FloatArray, share: FloatArray, name: str, piece: str, whole: FloatArray
) -> float:
    """Where the plane lies along its normal: as asked, or in the middle of what it splits."""
    along = share.reshape(-1, 3) @ normal
    low, high = float(along.min()), float(along.max())
    if plane.offset_mm is None:
        everything = whole.reshape(-1, 3) @ normal
        middle = 0.5 * float(everything.min() + everything.max())
        return middle if low < middle < high else 0.5 * (low + high)
    if not low < plane.offset_mm < high:
        near = low + NEAR_EDGE * (high - low) if plane.offset_mm <= low else high - NEAR_EDGE * (high - low)
        what = "the pattern" if share is whole else f"what of the pattern lies in piece {piece}"
        raise DesignError(
            f"{name}.offset_mm = {plane.offset_mm:g}: the plane misses {what}, which lies between {low:.1f} and "
            f"{high:.1f} along that normal. The nearest that cuts it well is {near:.1f}."
        )
    return plane.offset_mm


def halved(triangles: FloatArray, normal: FloatArray, offset_mm: float) -> tuple[FloatArray, FloatArray]:
    """Triangles (n, 3, 3) cut at a plane: what lies on its normal's side, and what lies on the other."""
    return _kept(triangles, triangles @ normal - offset_mm), _kept(triangles, offset_mm - triangles @ normal)


def _kept(triangles: FloatArray, heights: FloatArray) -> FloatArray:
    """What of each triangle lies where the heights (n, 3) of its corners are above zero."""
    up = heights > 0
    count = up.sum(axis=1)
    parts = [triangles[count == 3]]
    for lone, keeps in ((1, True), (2, False)):  # one corner above, or one below
        t, h, first = triangles[count == lone], heights[count == lone], up[count == lone]
        turn = (np.argmax(first if keeps else ~first, axis=1)[:, None] + np.arange(3)) % 3
        rows = np.arange(len(t))[:, None]
        (a, b, c), (ha, hb, hc) = np.moveaxis(t[rows, turn], 1, 0), h[rows, turn].T
        ab = a + (ha / (ha - hb))[:, None] * (b - a)
        ac = a + (ha / (ha - hc))[:, None] * (c - a)
        parts += [np.stack([a, ab, ac], 1)] if keeps else [np.stack([ab, b, c], 1), np.stack([ab, c, ac], 1)]
    return np.concatenate(parts)
