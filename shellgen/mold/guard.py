"""Refuses a job that this machine could not hold, before anything large is made."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import SizeError
from shellgen.job.model import Settings

# Measured as peak memory of whole builds on scans of 50 k to 870 k triangles; see tests/benchmarks.
BYTES_PER_NODE = 420.0  # all skins of two pieces, their nets and solids, at 0.04 mm tolerance
BYTES_PER_TRIANGLE = 700.0  # of the pattern: as loaded, its windows, its skin as a solid
BASE_BYTES = 350e6
SHARE = 0.7  # of the machine's memory that a job may take


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a job will need: raster nodes of one piece, triangles of the pattern, memory in bytes."""

    nodes: int
    triangles: int
    memory_bytes: float


def estimate(settings: Settings, bounds_mm: FloatArray, triangles: int) -> Estimate:
    """Size of a job whose defaults are filled in. bounds_mm : (2, 3) of the pattern."""
    size = np.ptp(bounds_mm, axis=0)
    h = float(settings.raster.pitch_mm or 1.0)
    jacket = settings.jacket
    reach = jacket.thickness_mm + (jacket.clearance_mm or 0.0) + settings.shell.wall_mm + jacket.crevice_mm
    widest = np.sort(size)[::-1]
    pad = 2 * (reach + widest[0] * math.tan(math.radians(jacket.draft_deg)) + 3 * h)
    nodes = int((widest[0] + pad) / h) * int((widest[1] + pad) / h)
    return Estimate(nodes, triangles, BASE_BYTES + BYTES_PER_NODE * nodes + BYTES_PER_TRIANGLE * triangles)


def machine_memory_bytes() -> float:
    """Physical memory; 8 GB where the system does not tell."""
    try:
        return float(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (ValueError, OSError, AttributeError):
        return 8e9


def refuse_oversize(settings: Settings, bounds_mm: FloatArray, triangles: int, memory_bytes: float) -> Estimate:
    """The estimate, if it fits into that memory. Raises SizeError with the nearest raster pitch that does."""
    found = estimate(settings, bounds_mm, triangles)
    room = SHARE * memory_bytes
    if found.memory_bytes <= room:
        return found
    h = float(settings.raster.pitch_mm or 1.0)
    says = (
        f"raster.pitch_mm = {h:g}: this job would take about {found.memory_bytes / 1e9:.1f} GB "
        f"({found.nodes / 1e6:.0f} million raster nodes a piece, {triangles / 1e6:.1f} million triangles); "
        f"this machine can spare {room / 1e9:.1f} GB."
    )
    for step in range(1, 200):
        wider = round(h * 1.05**step, 2)
        if wider > 10:
            break
        raster = settings.raster.model_copy(update={"pitch_mm": wider})
        trial = settings.model_copy(update={"raster": raster})
        if estimate(trial, bounds_mm, triangles).memory_bytes <= room:
            raise SizeError(f"{says} The nearest that fits is raster.pitch_mm = {wider:g}.")
    raise SizeError(f"{says} No raster pitch up to 10 mm fits: thin out the mesh first.")
