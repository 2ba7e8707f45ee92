"""The surface that an envelope's triangles stand for, without the unevenness of its nodes.

A triangulated envelope needs its nodes raised near silhouettes to keep chords outside the surface, by an amount that
depends on where a node happens to fall. A spline has no chords, and could follow that unevenness only with knots as
fine as the raster: it gets the surface that the nodes were taken from, set out by the same amount evenly spread.
"""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.envelope.widen import widened

STEPS = 40
PULL = 0.4  # of the difference, each step: the raising grows with its own node by at most 1.2, so this settles
LEFT_MM = 1e-3
SPREAD = 3.0  # raster steps over which the raising is spread: volumes of splines and triangles then agree best


def unraised(envelope: Envelope) -> FloatArray:
    """Heights (rows, columns) [mm] which raised as the envelope's were give the envelope's own."""
    heights = envelope.heights_mm.copy()
    for _ in range(STEPS):
        off = envelope.heights_mm - widened(heights)
        heights += PULL * off
        if float(np.abs(off).max()) < LEFT_MM:
            break
    return heights


def surface_nodes(envelope: Envelope) -> FloatArray:
    """Heights (rows, columns) [mm] of the smooth surface about the envelope: what a spline is to follow."""
    from scipy.ndimage import gaussian_filter

    heights = unraised(envelope)
    gy, gx = np.gradient(heights, envelope.grid.pitch_mm)
    area = np.sqrt(1 + gx**2 + gy**2)  # of surface over a node
    # raised by the distance square to the surface, averaged over surface
    out = gaussian_filter(envelope.heights_mm - heights, SPREAD) / gaussian_filter(area, SPREAD)
    return np.asarray(heights + out * area)
