"""The rubber nests in each piece by at least three keys."""

from __future__ import annotations

import numpy as np

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding, Status
from shellgen.checks.rays import Rays
from shellgen.mold.mold import JacketKey

TITLE = "at least three jacket keys a piece"
LEAST = 3
RING = 16
PROUD = 0.5  # of the key's height, that its top stands over a ring round it


def check(bench: Bench) -> Finding:
    """Keys that stand proud of the finished rubber, counted for each shell piece.

    A key counts if the rubber's outside passes through its top, and lies lower, seen along the piece's pull, on
    the mean of a ring round it.
    """
    if not bench.mold.design.settings.jacket.keys:
        return Finding("jacket-keys", TITLE, "warn", 0, LEAST, "keys", "switched off by the job: the rubber can turn")
    outside = bench.jacket_outside
    if not len(outside.faces):
        return Finding("jacket-keys", TITLE, "fail", None, LEAST, "keys", "there is no rubber to measure")
    rays = Rays.of(outside.vertices, outside.faces)
    faults, counts = [], []
    for piece in bench.shells:
        pull = np.asarray(piece.pull if piece.pull is not None else (0.0, 0.0, 1.0), float)
        keys = [key for key in bench.mold.design.jacket_keys if key.piece == piece.name]
        flat = [key for key in keys if proud_mm(rays, key, pull) < PROUD * key.height_mm]
        counts.append(len(keys) - len(flat))
        faults += [f"no key stands at {place(key.at_mm)} under {piece.name}" for key in flat]
        if counts[-1] < LEAST:
            faults.append(f"{piece.name} has {counts[-1]} keys")
    says = "; ".join(faults[:5]) or f"{', '.join(str(n) for n in counts)} keys stand proud of the rubber"
    status: Status = "fail" if min(counts, default=0) < LEAST or faults else "pass"
    return Finding("jacket-keys", TITLE, status, min(counts, default=0), LEAST, "keys", says)


def proud_mm(rays: Rays, key: JacketKey, pull: np.ndarray) -> float:
    """How far a key's top stands over the mean of a ring round it, along the pull; −inf if it is not on the rubber."""
    top = np.asarray(key.at_mm, float)
    x = np.cross([0.0, 1.0, 0.0] if abs(pull[1]) < 0.9 else [1.0, 0.0, 0.0], pull)
    x /= np.linalg.norm(x)
    turn = 2.0 * np.pi * np.arange(RING) / RING
    ring = top + 1.2 * key.radius_mm * (np.outer(np.cos(turn), x) + np.outer(np.sin(turn), np.cross(pull, x)))
    above = 4.0 * key.radius_mm + key.height_mm
    starts = np.vstack([top, ring]) + above * pull
    lengths, _ = rays.shoot(starts, np.tile(-pull, (RING + 1, 1)), 3.0 * above)
    heights = above - lengths
    if abs(heights[0]) > 0.3:
        return float("-inf")
    around = heights[1:][np.isfinite(heights[1:])]
    return float(heights[0] - around.mean()) if len(around) else float("-inf")
