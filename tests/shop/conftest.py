"""A designed mold made by hand: a flat flange of known outline with bolts at known places."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from shapely.geometry import MultiPolygon

from shellgen.envelope.raster import Envelope, Grid
from shellgen.job.model import Settings
from shellgen.mold.mold import Bolt, Key, MoldDesign
from shellgen.parting.surface import Parting, PlaneParting
from shellgen.pattern.pattern import Pattern, Skin
from shellgen.solid.recipe import Outline, PieceRecipe, Ring

Plan = Callable[..., MoldDesign]


def box_pattern(x: float, y: float, z: float) -> Pattern:
    """A box from (0, 0, 0) to (x, y, z), 12 triangles."""
    corners = np.array([[i, j, k] for i in (0, x) for j in (0, y) for k in (0, z)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))], np.int32)
    skin = Skin(corners, faces, x * y * z, "as it is", 0.0)
    return Pattern(corners, faces, skin, "none", MultiPolygon(), np.eye(4), "box", "0" * 64, ())


def room(area_side_mm: float) -> Envelope:
    """An envelope that stands 10 mm high on a square of the given side, 1 mm raster."""
    heights = np.full((121, 121), -1.0)
    n = round(area_side_mm)
    heights[:n, :n] = 10.0
    return Envelope(Grid(0.0, 0.0, 1.0, 121, 121), heights, 8.0, 5.0, 3.0, -1.0)


@pytest.fixture
def plan() -> Plan:
    """Makes a design: outline, bolts in plan, and what the job says."""

    def make(
        outer: Ring,
        spots: list[tuple[float, float]],
        *,
        holes: tuple[Ring, ...] = (),
        on_board: bool = False,
        parting: Parting | None = None,
        thickness_mm: float = 8.0,
        width_mm: float = 16.0,
        **bolts: object,
    ) -> MoldDesign:
        settings = Settings.model_validate(
            {
                "name": "by hand",
                "flange": {"width_mm": width_mm, "thickness_mm": thickness_mm},
                "bolts": {"size": "M6", "pitch_mm": 60.0, **bolts},
                "jacket": {"clearance_mm": 0.5},
            }
        )
        where = parting or PlaneParting()
        pieces = tuple(
            PieceRecipe(
                name=name,
                pull_to_mold=np.eye(4) if name == "A" else np.diag([-1.0, 1.0, -1.0, 1.0]),
                parting=where,
                jacket=room(100),
                inside=room(100),
                outside=room(110),
                outline=Outline(outer, holes, thickness_mm),
                on_board=on_board,
                base=None,
                features=(),
            )
            for name in ("A", "B")
        )
        made = tuple(
            Bolt(("A", "B"), "M6", ((x, y, thickness_mm), (x, y, -thickness_mm)), ("washer", "washer"), "closing", 6.6)
            for x, y in spots
        )
        keys = (Key(("A", "B"), "cone", (0.0, 0.0, 0.0), 5.0, 4.0),)
        return MoldDesign(settings, box_pattern(300.0, 60.0, 40.0), pieces, (), made, keys, (), ("A", "B"))

    return make
