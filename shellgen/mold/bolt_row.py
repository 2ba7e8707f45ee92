"""Bolts at equal pitch along a line, never beyond the wanted pitch, never so near that a spanner cannot turn."""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import FloatArray


def along(line: FloatArray, s_mm: FloatArray) -> FloatArray:
    """Points (k, 2) at arc lengths along a polyline (n, 2)."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    return np.column_stack([np.interp(s_mm, s, line[:, 0]), np.interp(s_mm, s, line[:, 1])])


def length(line: FloatArray) -> float:
    """Length of a polyline [mm]."""
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def equal_pitch(line: FloatArray, closed: bool, pitch_mm: float, least_mm: float, fewest: int) -> FloatArray:
    """Arc lengths [mm] of bolts on a line: at both ends of an open one, all round a closed one (from its top).

    pitch_mm is not passed unless two bolts would come nearer than least_mm.
    """
    total = length(line)
    gaps = max(int(np.ceil(total / pitch_mm - 1e-9)), fewest if closed else fewest - 1, 1)
    gaps = max(min(gaps, int(total / least_mm)), 1)
    if closed:
        start = float(np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])[np.argmax(line[:, 1])])
        return (start + total * np.arange(gaps) / gaps) % total
    if total < least_mm:
        return np.array([0.5 * total])
    return total * np.arange(gaps + 1) / gaps


def apart(points: FloatArray, least_mm: float) -> FloatArray:
    """Indices of points kept in order, each at least `least_mm` from those kept before: narrow webs need one row."""
    kept: list[int] = []
    for i, p in enumerate(points):
        if all(np.hypot(*(p - points[k])) >= least_mm for k in kept):
            kept.append(i)
    return np.array(kept, int)
