"""Fixtures of the picture tests."""

from __future__ import annotations

import pytest
from ball_shell import make_ball_mold

from shellgen.mold.mold import Mold


@pytest.fixture(scope="session")
def ball_mold() -> Mold:
    """The ball in its two half shells."""
    return make_ball_mold()
