"""Crevices that no brush reaches: the drafted columns closed by a ball, as the jacket's outside will be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.parting.columns import Columns


def _ball(radius: float) -> FloatArray:
    """Heights of a half ball over the nodes within its radius [nodes], -inf outside."""
    reach = int(radius)
    i, j = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    square = radius * radius - i * i - j * j
    return np.where(square >= 0, np.sqrt(np.maximum(square, 0)), -np.inf)


def _closed(heights: FloatArray, ball: FloatArray) -> FloatArray:
    """Heights after a ball has rolled over them: raised by its half, then lowered by it."""
    reach = ball.shape[0] // 2
    rows, columns = heights.shape
    wide = np.pad(heights, 2 * reach, mode="edge")
    raised = np.full((rows + 2 * reach, columns + 2 * reach), -np.inf)
    taps = [(i, j, ball[i, j]) for i, j in np.argwhere(np.isfinite(ball))]
    for i, j, rise in taps:
        np.maximum(raised, wide[i : i + raised.shape[0], j : j + raised.shape[1]] + rise, out=raised)
    lowered = np.full(heights.shape, np.inf)
    for i, j, rise in taps:
        np.minimum(lowered, raised[i : i + rows, j : j + columns] - rise, out=lowered)
    return lowered


def with_crevices_filled(columns: Columns, crevice_mm: float) -> Columns:
    """The columns with their drafted fields closed by a ball of `crevice_mm`; as they are if that is under a pitch.

    The shadow's own heights (`upper_mm`, `lower_mm`) stay: a parting need not follow crevices.
    """
    pitch = columns.grid.pitch_mm
    if crevice_mm < pitch:
        return columns
    ball = _ball(crevice_mm / pitch) * pitch
    return replace(
        columns,
        drafted_upper_mm=_closed(columns.drafted_upper_mm, ball),
        drafted_lower_mm=-_closed(-columns.drafted_lower_mm, ball),
    )
