"""No thin roofs where a piece slides along a plane: its room goes on up to the plane where too little would close it.

Under a level plane the piece's room may end a little below it, while the neighbour is hollow above: what is left
between the rubber of both is a leaf. Within the wall's thickness of the plane all skins of such a piece go straight on
to the plane, so that a roof is as thick as the wall or is not there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import Envelope
from shellgen.mold.drape import Draped
from shellgen.mold.skins import Skins
from shellgen.solid.recipe import inverse, transform

LEAST_MM2 = 10.0  # leaves smaller than that in all are left alone
PROUD_MM = 0.3  # a room that ends that near to the plane, or that low over the parting, makes no leaf


def without_roofs(piece: Draped, side: tuple[float, float, float], neighbour: Draped) -> Skins:
    """The skins of a piece, opened up to one of its sides (a, b, c) if a neighbour is hollow over a thin roof there.

    Sides that do not run across the piece's frame are left as they are.
    """
    a, b, c = side
    skins = piece.skins
    if abs(a) > 1e-9:
        return skins
    reach_mm = piece.spec.outside_mm - piece.spec.inside_mm
    g = skins.inside.grid
    far = -c / b  # y of the side
    near = b * (g.y_mm - far) <= reach_mm  # rows from the wall's thickness before the side on
    if not near.any():
        return skins
    opened = _on(skins.inside, near, b)
    last = int(np.argmin(np.where(b * (g.y_mm - far) >= 0, np.abs(g.y_mm - far), np.inf)))
    floor = piece.cell.parting.at(g.x_mm, np.full(g.columns, far))
    low, top = np.maximum(skins.inside.heights_mm[last], floor), opened.heights_mm[last]
    leaf = top > low + PROUD_MM
    middle = np.column_stack([g.x_mm, np.full(g.columns, far), 0.5 * (low + top)])[leaf]
    local = transform(transform(middle, piece.cell.pull_to_mold), inverse(neighbour.cell.pull_to_mold))
    hollow = neighbour.skins.inside.at(local[:, 0], local[:, 1]) > local[:, 2] + PROUD_MM
    if float((top - low)[leaf][hollow].sum()) * g.pitch_mm < LEAST_MM2:
        return skins
    jacket = _on(skins.jacket, near, b)
    inside = jacket if skins.inside is skins.jacket else opened
    return replace(skins, jacket=jacket, inside=inside, outside=_on(skins.outside, near, b))


def _on(skin: Envelope, near: npt.NDArray[np.bool_], way: float) -> Envelope:
    """A skin that in some rows never falls towards the side. way : 1 where the piece lies above it in y, else -1."""
    heights = skin.heights_mm.copy()
    some = heights[near]
    turned = some[::-1] if way > 0 else some
    some = np.maximum.accumulate(turned, axis=0)
    heights[near] = some[::-1] if way > 0 else some
    return skin.with_heights(heights)
