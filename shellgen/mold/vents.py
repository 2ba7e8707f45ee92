"""Vents and pour of a poured jacket: bores through the shell at the high spots of its inside, the mold standing up.

Rubber is poured with the mold as built (+z up, the board down). Each bore runs along the pull of the piece that it
pierces, so that the piece still draws; its upper edge lies at the ceiling, or as near as the rim of the shell, the
port and its neighbours leave room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import minimum_filter

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import JacketKey, Pour, VentHole
from shellgen.mold.port import Port
from shellgen.mold.spacers import find_spacers, spacer_notes
from shellgen.parting.tilt import Tilt, tilt_study
from shellgen.parting.vents import AirTrap, filling, look_into, place_vents
from shellgen.pattern.pattern import Pattern
from shellgen.solid.jacket import jacket_mesh, pattern_core
from shellgen.solid.mesh import mesh_of
from shellgen.solid.recipe import Feature, Frustum, PieceRecipe, Role, inverse, transform

POUR_MM, VENT_MM = 16.0, 8.0  # bores; common practice, no source
POUR_SHARE, VENT_SHARE = 0.2, 0.1  # of the pattern's longest side that bores take at most, down to the narrowest
LEAST_MM = 3.0  # a narrower bore clogs; common practice, no source
RIM_MM = 1.5  # a bore stays that far from the edge of the shell's inside
TUBE_MM = 3.0  # wall of a chimney
UPRIGHT = 0.7  # cosine of pull and vertical from which a bore is lengthened to a chimney
SLENDER = 10.0  # length over bore beyond which no chimney is made
OVER_MM = 5.0  # chimneys end that far over the highest place of the shell
COARSE_MM = 0.2  # tolerance of the gap that is looked through
LOOK_MM = 1.0  # and the raster
TOLD = 3  # places of trapped air that are named
WORTH_LEANING_MM3 = 300.0  # of trapped air, from which other pour positions are tried
LEAN_LOOK_MM = 3.0  # on this raster
LESS = 0.7  # share of the upright position's air from which a leaning one is worth saying


@dataclass(frozen=True, slots=True)
class _Bore:
    """A bore in a piece's plan: middle, radius, how far its upper edge lies from the high spot."""

    piece: int
    x_mm: float
    y_mm: float
    radius_mm: float
    miss_mm: float
    top_mm: tuple[float, float, float]


def vented(
    pieces: tuple[PieceRecipe, ...],
    pattern: Pattern,
    port: Port | None,
    thickness_mm: float,
    keys: Sequence[JacketKey] = (),
) -> tuple[tuple[PieceRecipe, ...], Pour, tuple[str, ...]]:
    """The pieces with pour and vents bored, what they are, and what is to be said about them.

    port : of a mold without a board, on the first piece; open while pouring, it is a vent itself. thickness_mm : of
    the rubber. keys : of the jacket.
    """
    gap = jacket_mesh(pieces, pattern, COARSE_MM)[:2]
    seen = look_into(gap, mesh_of(pattern_core(pattern)), pitch_mm=LOOK_MM)
    longest = float(np.ptp(pattern.bounds_mm, axis=0).max())
    pour_mm, vent_mm = (
        min(most, max(share * longest, LEAST_MM)) for most, share in ((POUR_MM, POUR_SHARE), (VENT_MM, VENT_SHARE))
    )
    holes: list[VentHole] = []
    bores: list[_Bore] = []
    open_at: list[tuple[float, float, float]] = []
    poured = False
    for spot in place_vents(seen, merge_mm=2 * VENT_MM):
        wide = vent_mm if poured else pour_mm
        what = "vent" if poured else "pour"
        if port is not None and _in_port(port, pieces[0], spot.at_mm):
            holes.append(VentHole(pieces[0].name, f"{what} (the port)", spot.at_mm, port.bore_mm, spot.air_mm3))
            open_at.append(spot.at_mm)
            poured = True
            continue
        found = _best(pieces, spot.at_mm, wide, bores, port)
        if found is None or found.miss_mm > max(wide, 2 * VENT_MM):
            continue
        bores.append(found)
        holes.append(VentHole(pieces[found.piece].name, what, found.top_mm, 2 * found.radius_mm, spot.air_mm3))
        open_at.append(found.top_mm)
        poured = True
    traps = filling(seen, open_at).traps if open_at else ()
    level = max(float(r.outside.heights_mm.max()) for r in pieces) + OVER_MM
    features: list[list[Feature]] = [list(r.features) for r in pieces]
    for bore in bores:
        features[bore.piece] += _features(bore, pieces[bore.piece], level)
    ready = tuple(replace(r, features=tuple(f)) for r, f in zip(pieces, features, strict=True))
    held = find_spacers(ready, pattern, thickness_mm, keys) if pattern.mount == "none" else ()
    pour = Pour(tuple(holes), float(sum(t.volume_mm3 for t in traps)), held)
    said = _notes(pour, traps, poured)
    if pour.trapped_mm3 > WORTH_LEANING_MM3:
        said = (*said, *_lean_notes(tilt_study(gap, mesh_of(pattern_core(pattern)), pitch_mm=LEAN_LOOK_MM)))
    if pattern.mount == "none":
        return ready, pour, (*said, *spacer_notes(held, ready))
    return ready, pour, (*said, "The board holds pattern and shell, and with them the gap: no spacers are needed.")


def _in_port(port: Port, piece: PieceRecipe, at_mm: Sequence[float]) -> bool:
    x, y, _ = transform(np.array([at_mm]), inverse(piece.pull_to_mold))[0]
    return bool(np.hypot(x - port.place.x_mm, y - port.place.y_mm) < port.bore_mm / 2)


def _best(
    pieces: tuple[PieceRecipe, ...], at_mm: Sequence[float], wide_mm: float, taken: Sequence[_Bore], port: Port | None
) -> _Bore | None:
    """The widest bore that comes near a high spot, of all pieces and down to the least width."""
    widths = [wide_mm] + [w for w in (VENT_MM, 5.0, LEAST_MM) if w < wide_mm]
    for width in widths:
        tries = [_nearest(k, r, at_mm, width / 2, taken, port if k == 0 else None) for k, r in enumerate(pieces)]
        found = [t for t in tries if t is not None]
        near = min(found, key=lambda b: b.miss_mm) if found else None
        if near is not None and (near.miss_mm <= width or width == widths[-1]):
            return near
    return None


def _nearest(
    k: int, piece: PieceRecipe, at_mm: Sequence[float], radius_mm: float, taken: Sequence[_Bore], port: Port | None
) -> _Bore | None:
    """Where in a piece's plan a bore of that radius opens nearest to a high spot (in the mold frame)."""
    spot = transform(np.array([at_mm]), inverse(piece.pull_to_mold))[0]
    up = piece.pull_to_mold[2, :3]  # the mold's up in the piece's frame
    if up[2] < -0.3:  # its shell lies below the rubber
        return None
    g = piece.inside.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    high = piece.inside.heights_mm - piece.parting.at(x, y)
    free = _least_within(high, (radius_mm + RIM_MM) / g.pitch_mm) > RIM_MM
    if piece.on_board:
        foot = piece.base.thickness_mm if piece.base is not None else 0.0
        free &= y > foot + radius_mm + TUBE_MM
    for other in taken:
        if other.piece == k:
            free &= np.hypot(x - other.x_mm, y - other.y_mm) > radius_mm + other.radius_mm + 2 * TUBE_MM
    if port is not None:
        free &= np.hypot(x - port.place.x_mm, y - port.place.y_mm) > port.boss_mm + radius_mm + TUBE_MM
    if not free.any():
        return None
    # the bore's upper edge: its middle, moved up across the pull
    tx, ty = x + radius_mm * up[0], y + radius_mm * up[1]
    tz = piece.inside.at(tx, ty)
    off = np.sqrt((tx - spot[0]) ** 2 + (ty - spot[1]) ** 2 + (tz - spot[2]) ** 2)
    if abs(up[2]) < UPRIGHT:  # a level bore reaches in as far as the room: what counts is the distance across it
        off = np.hypot(tx - spot[0], ty - spot[1])
    i, j = np.unravel_index(int(np.argmin(np.where(free, off, np.inf))), off.shape)
    top = transform(np.array([[tx[i, j], ty[i, j], min(tz[i, j], high[i, j])]]), piece.pull_to_mold)[0]
    return _Bore(
        k, float(x[i, j]), float(y[i, j]), radius_mm, float(off[i, j]), (float(top[0]), float(top[1]), float(top[2]))
    )


def _least_within(heights: FloatArray, nodes: float) -> FloatArray:
    """Least value within a disc of that many nodes; beyond the raster nothing is high."""
    n = int(np.ceil(nodes))
    a, b = np.mgrid[-n : n + 1, -n : n + 1]
    disc: npt.NDArray[np.bool_] = np.hypot(a, b) <= nodes + 0.5
    return np.asarray(minimum_filter(heights, footprint=disc, mode="constant", cval=-1e4), float)


def _features(bore: _Bore, piece: PieceRecipe, level_mm: float) -> list[Feature]:
    """The bore, and a chimney about it where it stands upright and does not get too slender."""
    g = piece.inside.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    rho = np.hypot(x - bore.x_mm, y - bore.y_mm)
    disc = rho <= bore.radius_mm + g.pitch_mm
    low = float(piece.inside.heights_mm[disc].min()) - 1.0
    top = float(piece.outside.heights_mm[rho <= bore.radius_mm + TUBE_MM + g.pitch_mm].max())
    up, at = (0.0, 0.0, 1.0), (bore.x_mm, bore.y_mm)
    made: list[Feature] = []
    if piece.pull_to_mold[2, 2] > UPRIGHT and level_mm - top <= SLENDER * 2 * bore.radius_mm:
        outer = bore.radius_mm + TUBE_MM
        made.append(Feature(Role.PORT, Frustum((*at, low), up, level_mm - low, outer, outer), add=True, body=True))
        top = level_mm
    hollow = Frustum((*at, low), up, top + 1.0 - low, bore.radius_mm, bore.radius_mm)
    made.append(Feature(Role.PORT, hollow, add=False, through=True))
    return made


def _notes(pour: Pour, traps: Sequence[AirTrap], poured: bool) -> tuple[str, ...]:
    """What to do at which hole, and the air that stays."""
    if not poured:
        return ("No place for the pour was found under the shell: pour the rubber by another way, or brush it.",)
    said = [
        f"Pour with the mold standing as drawn; stop each vent when rubber shows in it. {h.use.capitalize()}: piece "
        f"{h.piece}, {h.bore_mm:.0f} mm bore at ({h.at_mm[0]:.0f}, {h.at_mm[1]:.0f}, {h.at_mm[2]:.0f})."
        for h in pour.holes[:1]
    ]
    said += [
        f"{h.use.capitalize()} in piece {h.piece}, {h.bore_mm:.0f} mm bore at ({h.at_mm[0]:.0f}, {h.at_mm[1]:.0f}, "
        f"{h.at_mm[2]:.0f}): left out, {h.air_mm3 / 1e3:.2f} cm3 of air would stay."
        for h in pour.holes[1:]
    ]
    if traps:
        where = "1 place" if len(traps) == 1 else f"{len(traps)} places"
        first = "; ".join(
            f"{t.volume_mm3 / 1e3:.2f} cm3 at ({t.at_mm[0]:.0f}, {t.at_mm[1]:.0f}, {t.at_mm[2]:.0f})"
            for t in traps[:TOLD]
        )
        said.append(
            f"{pour.trapped_mm3 / 1e3:.2f} cm3 of air stay in {where} that no vent reaches; brush these first: {first}"
            + (", and smaller ones." if len(traps) > TOLD else ".")
        )
    return tuple(said)


def _lean_notes(tilts: Sequence[Tilt]) -> tuple[str, ...]:
    """Whether leaning the mold would free trapped air. tilts : the best first, the upright position among them."""
    best = tilts[0]
    upright = next(tilt for tilt in tilts if tilt.lean_deg == 0)
    if best.lean_deg == 0 or best.air_mm3 > LESS * upright.air_mm3:
        return ()
    if upright.air_mm3 - best.air_mm3 < WORTH_LEANING_MM3:
        return ()
    x, y, _ = (-v for v in best.up)
    instead = f"{best.air_mm3 / 1e3:.1f} cm3 of air would stay instead of {upright.air_mm3 / 1e3:.1f}"
    return (
        f"Leaned {best.lean_deg:.0f} degrees over towards ({x:+.2f}, {y:+.2f}) while pouring, with vents at the "
        f"heights of that position, about {instead}.",
    )
