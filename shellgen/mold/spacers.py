"""Spacers of a poured jacket: round pads that fill the gap between pattern and shell where both face the pull.

They hold the pattern in the shell until the rubber has set, so each is exactly as thick as the gap at its place, less a
little play. Their places are looked for on the skins as built.
"""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d as m3
import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter, minimum_filter

from shellgen.envelope.raster import FloatArray, Grid
from shellgen.mold.mold import JacketKey, Spacer
from shellgen.parting.columns import EMPTY, look_through
from shellgen.pattern.pattern import Pattern
from shellgen.solid.mesh import moved, segments
from shellgen.solid.recipe import Frustum, PieceRecipe, Role, inverse, transform

LOOK_MM = 1.0  # raster
LEAST, MOST = 3, 4  # to a piece
RADIUS = (0.6, 2.5, 6.0)  # share of the rubber's thickness, and its limits [mm]; common practice, no source
SLOPES = (0.5, 0.85, 1.3)  # rise over run of both skins under a spacer: gentle ground first
THICKER = 1.35  # of the asked thickness, beside the slope: no spacer in a filled undercut
PLAY_MM = 0.1  # along the pull, at either end
FREE_MM = 2.0  # to bores and jacket keys
APART = 3.0  # radii between two spacers at least

Mask = npt.NDArray[np.bool_]


def find_spacers(
    pieces: Sequence[PieceRecipe], pattern: Pattern, thickness_mm: float, keys: Sequence[JacketKey]
) -> tuple[Spacer, ...]:
    """Three or four spacers to a piece, far apart from each other; fewer where there is no room for them.

    thickness_mm : of the rubber. keys : of the jacket, kept clear as the bores are.
    """
    share, least, most = RADIUS
    radius = float(np.clip(share * thickness_mm, least, most))
    found: list[Spacer] = []
    for piece in pieces:
        grid, top, gap, fit = _ground(piece, pattern, thickness_mm, radius)
        taken = _taken(piece, keys)
        x, y = np.meshgrid(grid.x_mm, grid.y_mm)
        for cx, cy, r in taken:
            fit = [f & (np.hypot(x - cx, y - cy) > r + radius + FREE_MM) for f in fit]
        for number, (i, j) in enumerate(_far_apart(fit, APART * radius / grid.pitch_mm), 1):
            at = transform(np.array([[x[i, j], y[i, j], top[i, j]]]), piece.pull_to_mold)[0]
            found.append(
                Spacer(
                    name=f"spacer-{piece.name}{number}",
                    piece=piece.name,
                    at_mm=(float(at[0]), float(at[1]), float(at[2])),
                    thickness_mm=float(gap[i, j]),
                    radius_mm=radius,
                )
            )
    return tuple(found)


def _ground(
    piece: PieceRecipe, pattern: Pattern, thickness_mm: float, radius_mm: float
) -> tuple[Grid, FloatArray, FloatArray, list[Mask]]:
    """A raster in the piece's plan, the pattern's top on it, the gap above, and where spacers fit, best first."""
    skin = pattern.skin
    points = transform(skin.vertices_mm, inverse(piece.pull_to_mold))
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    shape = np.ceil((high - low) / LOOK_MM).astype(int) + 1
    grid = Grid(float(low[0]), float(low[1]), LOOK_MM, int(shape[1]), int(shape[0]))
    size = (grid.rows, grid.columns)
    upper, lower, signed = np.full(size, -EMPTY), np.full(size, EMPTY), np.zeros(size)
    seen = np.column_stack([(points[:, :2] - low) / LOOK_MM, points[:, 2]])
    look_through(seen, skin.faces, upper, lower, signed, np.zeros(size, np.int32))
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    roof = piece.jacket.at(x, y)
    gap = roof - upper
    disc = _disc((radius_mm + LOOK_MM) / LOOK_MM)
    solid = upper > piece.parting.at(x, y) + radius_mm
    inner = minimum_filter(solid.astype(np.uint8), footprint=disc, mode="constant").astype(bool)
    if piece.on_board:
        inner &= y > (piece.base.thickness_mm if piece.base is not None else 0.0) + radius_mm
    fall = np.maximum(*(maximum_filter(z, footprint=disc) - minimum_filter(z, footprint=disc) for z in (upper, roof)))
    across = 2 * (radius_mm + LOOK_MM)
    thick = gap < THICKER * thickness_mm * np.hypot(1.0, fall / across)
    return grid, upper, gap, [inner & thick & (gap > 0) & (fall < slope * across) for slope in SLOPES]


def _disc(radius: float) -> Mask:
    n = int(radius)
    d = np.arange(-n, n + 1)
    return np.asarray(np.hypot(d[:, None], d[None, :]) <= radius)


def _taken(piece: PieceRecipe, keys: Sequence[JacketKey]) -> list[tuple[float, float, float]]:
    """Bores through the piece's shell and keys under it, (x, y, radius) in its plan."""
    out = [
        (f.shape.base[0], f.shape.base[1], f.shape.r0_mm)
        for f in piece.features
        if f.role is Role.PORT and not f.add and isinstance(f.shape, Frustum)
    ]
    for key in keys:
        if key.piece == piece.name:
            x, y, _ = transform(np.array([key.at_mm]), inverse(piece.pull_to_mold))[0]
            out.append((float(x), float(y), key.radius_mm))
    return out


def _far_apart(fit: Sequence[Mask], apart: float) -> list[tuple[int, int]]:
    """Nodes of the first mask that holds enough of them `apart` from each other: each farthest from those before."""
    best: list[tuple[int, int]] = []
    for mask in fit:
        nodes = np.argwhere(mask)
        if not len(nodes):
            continue
        away = np.hypot(*(nodes - nodes.mean(axis=0)).T)
        picks: list[tuple[int, int]] = []
        while len(picks) < MOST and (not picks or away.max() >= apart):
            k = int(np.argmax(away))
            picks.append((int(nodes[k, 0]), int(nodes[k, 1])))
            distance = np.hypot(*(nodes - nodes[k]).T)
            away = distance if len(picks) == 1 else np.minimum(away, distance)
        if len(picks) > len(best):
            best = picks
        if len(best) >= LEAST:
            break
    return best


def spacer_solid(spacer: Spacer, piece: PieceRecipe, rubber: m3.Manifold) -> m3.Manifold:
    """The spacer in the mold frame: what of the rubber's room lies over its round, with play at both ends.

    rubber : the finished jacket in the mold frame.
    """
    x, y, z = transform(np.array([spacer.at_mm]), inverse(piece.pull_to_mold))[0]
    below, over = 3.0 * spacer.radius_mm, 3.0 * spacer.radius_mm + 2.0 * spacer.thickness_mm
    rod = m3.Manifold.cylinder(below + over, spacer.radius_mm, spacer.radius_mm, segments(spacer.radius_mm))
    room = moved(rod.translate((float(x), float(y), float(z) - below)), piece.pull_to_mold) ^ rubber
    up = PLAY_MM * piece.pull_to_mold[:3, 2]
    kept = room.translate(tuple(up)) ^ room.translate(tuple(-up))
    middle = np.array(spacer.at_mm) + 0.5 * spacer.thickness_mm * piece.pull_to_mold[:3, 2]
    bodies = kept.decompose()
    return min(bodies, key=lambda b: _off(b, middle)) if bodies else kept


def _off(body: m3.Manifold, point: FloatArray) -> float:
    """Distance of a point to a body's bounding box, and from its middle as the tie-break."""
    low, high = np.reshape(body.bounding_box(), (2, 3))
    outside = float(np.linalg.norm(np.maximum(np.maximum(low - point, point - high), 0.0)))
    return outside + 1e-3 * float(np.linalg.norm(0.5 * (low + high) - point))


def spacer_notes(spacers: Sequence[Spacer], pieces: Sequence[PieceRecipe]) -> tuple[str, ...]:
    """What the spacers are, where each goes, and which piece has too few."""
    said = []
    for piece in pieces:
        own = [s for s in spacers if s.piece == piece.name]
        if not own:
            said.append(
                f"No place for spacers was found under piece {piece.name}: hold the pattern off it by hand-cut pads."
            )
            continue
        where = ", ".join(
            f"{s.name} ({s.at_mm[0]:.0f}, {s.at_mm[1]:.0f}, {s.at_mm[2]:.0f}) {s.thickness_mm:.1f} mm thick"
            for s in own
        )
        said.append(f"Spacers under piece {piece.name}: {where}.")
    if spacers:
        said.append(
            "Nothing but the spacers holds the gap: cast them in the jacket's own rubber, or print them, and stick "
            "them to the pattern with a dab of it before the shell is closed. They stay in the jacket."
        )
    return tuple(said)
