"""Stand a pattern on its board: cut flat, hollows closed off by the board filled, footprint."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely.geometry import MultiPolygon

from shellgen.errors import PatternError
from shellgen.pattern.bodies import Solid, tidied
from shellgen.pattern.footprint import clean, ring_figure, section
from shellgen.pattern.level_cut import lidded, rings_at
from shellgen.pattern.pattern import FloatArray, IntArray
from shellgen.pattern.skin import Closed

FOOTPRINT_AT_MM = 0.02  # the section that counts as standing on the board
LEAST_FOOTPRINT_MM2 = 20.0


def stand_on_board(
    closed: Closed, above: tuple[FloatArray, IntArray], cut_mm: float, source: str
) -> tuple[Closed, MultiPolygon, tuple[str, ...]]:
    """The skin above z = 0, hollows that the board closes off filled; its footprint; notes.

    above : the skin's mesh clipped at z = 0, used where it is the skin itself.
    Raises PatternError if nothing, or less than 20 mm2, stands on the board, with a cutting height that would do.
    """
    if closed.vertices[:, 2].max() <= 0:
        raise PatternError(f"{source}: mount.cut_mm = {cut_mm:g} is above its top. Cut lower.")
    plain = _plainly(closed, above)
    if plain is not None and plain[1].area >= LEAST_FOOTPRINT_MM2:
        return *plain, ()
    solid, notes = closed.as_solid(), []
    standing = tidied(solid.trim_by_plane((0.0, 0.0, 1.0), 0.0))[0] if solid.bounding_box()[2] < 0 else solid
    print_ = clean(section(standing, FOOTPRINT_AT_MM))
    if any(len(figure.interiors) for figure in print_.geoms):
        full = _hollows_filled(standing)
        if full.volume() > standing.volume() * (1 + 1e-9) + 1e-3:
            hollow = (full.volume() - standing.volume()) / 1000
            notes.append(f"A hollow of {hollow:.1f} cm3 that the board closes off gets no rubber: part of the pattern.")
            standing, print_ = full, clean(section(full, FOOTPRINT_AT_MM))
    if print_.area < LEAST_FOOTPRINT_MM2:
        raise PatternError(_nothing_stands(standing, print_.area, cut_mm, source))
    return closed.with_solid(standing), print_, tuple(notes)


def _plainly(closed: Closed, above: tuple[FloatArray, IntArray]) -> tuple[Closed, MultiPolygon] | None:
    """The common case from the mesh's own triangles: one body, no ring-shaped footprint; None if it is not that."""
    if closed.solid is not None:
        return None
    standing = closed
    if closed.vertices[:, 2].min() < 0:
        lid = lidded(*above)
        if lid is None:
            return None
        standing = replace(closed, vertices=lid[0], faces=lid[1], volume_mm3=lid[2])
    print_ = clean(ring_figure(rings_at(standing.vertices, standing.faces, FOOTPRINT_AT_MM)))
    return None if any(len(figure.interiors) for figure in print_.geoms) else (standing, print_)


def _hollows_filled(solid: Solid) -> Solid:
    """Close the solid from below with a plate, fill what is shut in, take the plate away."""
    import manifold3d as m3

    x0, y0, _, x1, y1, _ = solid.bounding_box()
    plate = m3.Manifold.cube((x1 - x0 + 2, y1 - y0 + 2, 1.0)).translate((x0 - 1, y0 - 1, -1.0))
    return tidied(solid + plate)[0].trim_by_plane((0.0, 0.0, 1.0), 0.0)


def _nothing_stands(solid: Solid, area: float, cut: float, source: str) -> str:
    found = flat_height_mm(solid)
    given = f"mount.cut_mm (now {cut:g}, e.g. {cut + found:.2g})"
    return f"{source}: nothing stands on the board ({area:.1f} mm2 touch it): give {given}, turn it, or use a stem."


def flat_height_mm(solid: Solid) -> float:
    """Least height, in 200 steps of the lowest tenth, with 70 % of the broadest section found there."""
    _, _, low, _, _, high = solid.bounding_box()
    heights = low + (high - low) * np.linspace(0.0005, 0.1, 200)
    areas = np.array([section(solid, float(z)).area for z in heights])
    return float(heights[np.argmax(areas >= 0.7 * areas.max())] - low)
