"""A mold simple enough to know by heart: a ball of radius 40 in two half shells, made from primitives."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np
from shapely.geometry import MultiPolygon

from shellgen.envelope.raster import Envelope, Grid
from shellgen.job.model import Settings
from shellgen.mold.mold import Bolt, Key, Mold, MoldDesign, Part, PartKind
from shellgen.parting.surface import PlaneParting
from shellgen.pattern.pattern import FloatArray, IntArray, Pattern, Skin
from shellgen.solid.recipe import Outline, PieceRecipe, Point

RADIUS, RUBBER, WALL, FLANGE, WIDTH = 40.0, 8.0, 6.0, 8.0, 20.0
BOLTS = 6
_UP = 70.0


def arrays(solid: m3.Manifold) -> tuple[FloatArray, IntArray]:
    """Vertices and faces of a solid."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3], float), np.array(mesh.tri_verts).astype(np.int32)


def ball(radius: float) -> m3.Manifold:
    """A ball at the pattern's place."""
    return m3.Manifold.sphere(radius, 96).translate((0.0, 0.0, _UP))


def _upright_disc(radius: float, thickness: float) -> m3.Manifold:
    """A disc in the parting plane y = 0, with equal halves on both sides."""
    disc = m3.Manifold.cylinder(2 * thickness, radius, radius, 96).translate((0.0, 0.0, -thickness))
    return disc.rotate((90.0, 0.0, 0.0)).translate((0.0, 0.0, _UP))


def make_ball_mold() -> Mold:
    """Pattern, jacket, pieces A (+y) and B (-y), six bolts and one key; closed all round, on no board."""
    outside = RADIUS + RUBBER + WALL
    shell = ball(outside) + _upright_disc(outside + WIDTH, FLANGE) - ball(RADIUS + RUBBER)
    spots = [(math.cos(a), math.sin(a)) for a in np.radians(np.arange(BOLTS) * 360.0 / BOLTS + 30.0)]
    bolts = []
    for c, s in spots:
        x, z = 64.0 * c, _UP + 64.0 * s
        hole = m3.Manifold.cylinder(60.0, 3.3, 3.3, 32).translate((0.0, 0.0, -30.0)).rotate((90.0, 0.0, 0.0))
        shell -= hole.translate((x, 0.0, z))
        seats: tuple[Point, Point] = ((x, FLANGE, z), (x, -FLANGE, z))
        bolts.append(Bolt(("A", "B"), "M6", seats, ("washer", "washer"), "closing", 6.6))
    cone = m3.Manifold.cylinder(4.0, 5.0, 3.0, 32).rotate((90.0, 0.0, 0.0)).translate((64.0, 0.0, _UP))
    solids: list[tuple[str, PartKind, m3.Manifold, Point | None]] = [
        ("A", "shell", shell.trim_by_plane((0.0, 1.0, 0.0), 0.0) + cone, (0.0, 1.0, 0.0)),
        ("B", "shell", shell.trim_by_plane((0.0, -1.0, 0.0), 0.0) - cone, (0.0, -1.0, 0.0)),
        ("jacket", "jacket", ball(RADIUS + RUBBER) - ball(RADIUS), None),
    ]
    parts = tuple(Part(n, k, *arrays(s), float(s.volume()), pull, None) for n, k, s, pull in solids)
    skin = Skin(*arrays(ball(RADIUS)), float(ball(RADIUS).volume()), "as it is", 0.0)
    pattern = Pattern(
        skin.vertices_mm, skin.faces, skin, "none", MultiPolygon(), np.eye(4), "ball", "0" * 64, ("made for a test",)
    )
    settings = Settings.model_validate(
        {
            "name": "test ball",
            "jacket": {"thickness_mm": RUBBER, "clearance_mm": 0.0},
            "shell": {"wall_mm": WALL},
            "flange": {"thickness_mm": FLANGE, "width_mm": WIDTH},
        }
    )
    key = Key(("A", "B"), "cone", (64.0, 0.0, _UP), 5.0, 4.0)
    pieces = (_piece("A", 1.0), _piece("B", -1.0))
    return Mold(MoldDesign(settings, pattern, pieces, (), tuple(bolts), (key,), (), ("A", "B")), parts)


def _piece(name: str, side: float) -> PieceRecipe:
    """A piece's frame and exact envelopes: pull along side * y, height field of a sphere."""
    pull_to_mold = np.array([[-side, 0, 0, 0], [0, 0, side, 0], [0, 1, 0, 0], [0, 0, 0, 1.0]])
    grid = Grid(-90.0, -20.0, 1.0, 181, 181)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)

    def envelope(radius: float) -> Envelope:
        under = radius**2 - x**2 - (y - _UP) ** 2
        return Envelope(grid, np.where(under > 0, np.sqrt(np.maximum(under, 0.0)), -50.0), radius, 5.0, 3.0, -50.0)

    skins = [envelope(RADIUS + extra) for extra in (RUBBER, RUBBER, RUBBER + WALL)]
    return PieceRecipe(name, pull_to_mold, PlaneParting(), *skins, Outline((), (), FLANGE), False, None, ())
