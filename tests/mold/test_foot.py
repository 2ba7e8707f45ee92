"""The base flange's bolts where a wavy parting cuts their row into short ends."""

import numpy as np
import pytest

from shellgen.envelope.raster import Envelope, Grid
from shellgen.mold.base import Standing, foot

WASHER_MM = 10.0  # ISO 7089, M5


@pytest.mark.parametrize("wave_mm", [6.0, 8.0, 10.0, 14.0])
def test_no_two_board_bolts_share_a_seat(wave_mm):
    grid = Grid(-100.0, 0.0, 1.0, 40, 201)
    x, _ = np.meshgrid(grid.x_mm, grid.y_mm)
    tall = np.where(np.abs(x) < 70, 12.0, -50.0)
    along = np.arange(-160.0, 161.0)
    lie = wave_mm * np.sin(along / 6.0)
    stand = foot(
        Envelope(grid, tall, 0.0, 0.0, 0.0, -50.0),
        width_mm=16.0,
        thickness_mm=7.0,
        bolt_mm=WASHER_MM / 2 + 1.5,
        washer_mm=WASHER_MM,
        flange_mm=7.0,
        pitch_mm=60.0,
        pin_mm=6.0,
        pin_share=0.2,
        standing=Standing(along, lie, lie + 7.0),
    )
    gaps = np.hypot(*(stand.bolts[:, None] - stand.bolts[None]).transpose(2, 0, 1))
    np.fill_diagonal(gaps, np.inf)
    assert len(stand.bolts) > 1
    assert gaps.min() >= WASHER_MM + 2.0 - 1e-9


def test_base_flange_ends_over_a_stepped_flange():
    """Its reach is as before in the middle; where a stepped flange climbs past it, it ends a millimetre above."""
    grid = Grid(-100.0, 0.0, 1.0, 40, 201)
    x, _ = np.meshgrid(grid.x_mm, grid.y_mm)
    tall = np.where(np.abs(x) < 70, 30.0 - 0.004 * x**2, -50.0)
    along = np.arange(-160.0, 161.0)
    lie = np.where(along > 40.0, 0.5 * (along - 40.0), 0.0)
    asked = {
        "width_mm": 16.0,
        "thickness_mm": 7.0,
        "bolt_mm": WASHER_MM / 2 + 1.5,
        "washer_mm": WASHER_MM,
        "flange_mm": 7.0,
        "pitch_mm": 60.0,
        "pin_mm": None,
        "pin_share": 0.2,
    }
    over = lie + 8.0
    envelope = Envelope(grid, tall, 0.0, 0.0, 0.0, -50.0)
    plain = foot(envelope, standing=Standing(along, lie, over), **asked)
    ended = foot(envelope, standing=Standing(along, lie, over, over), **asked)
    reach = np.array(ended.flange.reach)
    before = np.interp(reach[:, 0], *np.array(plain.flange.reach).T)
    assert np.abs(reach[:, 1] - before).max() < 1e-9
    assert (reach[:, 1] - np.interp(reach[:, 0], along, over)).min() == pytest.approx(1.0, abs=1e-6)
    assert reach[-1, 0] < plain.flange.reach[-1][0] - 1.0
    assert reach[-1, 1] > 5.0
