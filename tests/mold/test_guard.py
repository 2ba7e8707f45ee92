"""The guard speaks before memory runs out, and names a setting that fits."""

import re

import numpy as np
import pytest

from shellgen.errors import SizeError
from shellgen.job.defaults import fill_in
from shellgen.job.model import Settings
from shellgen.mold.guard import estimate, refuse_oversize

BOUNDS = np.array([[0.0, 0.0, 0.0], [600.0, 400.0, 300.0]])


def settings(pitch_mm):
    asked = Settings.model_validate({"pattern": {"demo": "gate-finial"}, "raster": {"pitch_mm": pitch_mm}})
    return fill_in(asked, BOUNDS)


def test_estimate_grows_with_the_square_of_the_pitch():
    coarse, fine = (estimate(settings(h), BOUNDS, 0).nodes for h in (2.0, 1.0))
    assert fine == pytest.approx(4 * coarse, rel=0.03)


def test_small_job_passes():
    assert refuse_oversize(settings(1.0), BOUNDS, 50_000, 8e9).memory_bytes < 0.7 * 8e9


def test_refusal_names_a_pitch_that_fits():
    with pytest.raises(SizeError, match=r"pitch_mm = 0.1: .* The nearest that fits is raster.pitch_mm = ") as caught:
        refuse_oversize(settings(0.1), BOUNDS, 50_000, 4e9)
    nearest = float(re.findall(r"raster.pitch_mm = ([0-9.]+)\.$", str(caught.value))[0])
    refuse_oversize(settings(nearest), BOUNDS, 50_000, 4e9)


def test_a_mesh_alone_too_large_is_told_to_be_thinned():
    with pytest.raises(SizeError, match="thin out the mesh"):
        refuse_oversize(settings(1.0), BOUNDS, 20_000_000, 4e9)
