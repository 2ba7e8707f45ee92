"""Each piece leaves along its pull without meeting the rubber or a neighbour."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench, place
from shellgen.checks.depth import depths, window_round
from shellgen.checks.finding import Finding
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part

TITLE = "each piece draws along its pull"
PITCH_MM = 0.3
LINES = 1_500_000
TOUCH_MM = 0.05  # surfaces that coincide at rest differ by rounding, steep ones by more than others
LIMIT_MM3 = 5.0


def check(bench: Bench) -> Finding:
    """Taken apart in reverse order of assembly, each piece is swept along its pull, however far.

    On each line along the pull, nothing that stays behind may lie above the lowest point of the piece: then no travel,
    short or long, brings them together. Lines are 0.3 mm apart, more on large pieces; what is narrower than that in
    plan can be missed.
    """
    faults, worst = [], 0.0
    staying = {part.name: part for part in bench.mold.parts}
    order = [name for name in bench.mold.design.assembly if name in staying]
    missing = [part.name for part in bench.rigid if part.name not in order]
    if missing:
        faults.append(f"the order of assembly leaves out {', '.join(missing)}")
    for name in reversed(order):
        piece = staying.pop(name)
        if piece.pull is None:
            faults.append(f"{name} is rigid and has no pull")
            continue
        volume, where, neighbour = swept_mm3(piece, list(staying.values()))
        worst = max(worst, volume)
        if volume > LIMIT_MM3:
            faults.append(f"{name} meets {neighbour} at {place(where)} when drawn, {volume:.0f} mm³ in all")
    says = "; ".join(faults) or f"{', '.join(reversed(order))} leave one after the other and meet nothing"
    return Finding("draws", TITLE, "fail" if faults else "pass", worst, LIMIT_MM3, "mm³", says)


def pull_frame(pull: FloatArray) -> FloatArray:
    """Rotation (3, 3) whose third row is the pull."""
    z = pull / np.linalg.norm(pull)
    x = np.cross([0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0], z)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z])


def swept_mm3(piece: Part, staying: list[Part]) -> tuple[float, FloatArray, str]:
    """Volume of what stays that lies in the way of a piece [mm3], its deepest place, and the part it belongs to."""
    turn = pull_frame(np.asarray(piece.pull, float))
    points = piece.vertices_mm @ turn.T
    window = window_round(points, LINES, PITCH_MM)
    underside, _ = depths(points, piece.faces, window)
    total, deepest, where, name = 0.0, 0.0, np.zeros(3), ""
    for part in staying:
        _, top = depths(part.vertices_mm @ turn.T, part.faces, window)
        over = np.where(top > -np.inf, top, 0.0) - np.where(top > -np.inf, underside, np.inf)
        hit = over > TOUCH_MM
        if not hit.any():
            continue
        total += float(over[hit].sum()) * window.pitch_mm**2
        i, j = np.unravel_index(int(np.argmax(np.where(hit, over, 0.0))), over.shape)
        if over[i, j] > deepest:
            deepest, name = float(over[i, j]), part.name
            spot = [window.x0_mm + j * window.pitch_mm, window.y0_mm + i * window.pitch_mm, float(top[i, j])]
            where = np.asarray(spot) @ turn
    return total, where, name
