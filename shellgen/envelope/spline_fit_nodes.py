"""The surface that a raster's nodes were taken from: takes back what they were raised by to keep chords outside it.

A triangulated envelope needs its nodes raised near silhouettes, by an amount that depends on where a node happens to
fall; a spline has no chords, and could follow that unevenness only with knots as fine as the raster.
"""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.widen import widened

STEPS = 40
PULL = 0.4  # of the difference, each step: the raising grows with its own node by at most 1.2, so this settles
LEFT_MM = 1e-3


def surface_nodes(envelope: Envelope) -> FloatArray:
    """Heights (rows, columns) [mm] which raised as the envelope's were give the envelope's own."""
    heights = envelope.heights_mm.copy()
    for _ in range(STEPS):
        off = envelope.heights_mm - widened(heights)
        heights += PULL * off
        if float(np.abs(off).max()) < LEFT_MM:
            break
    return heights
