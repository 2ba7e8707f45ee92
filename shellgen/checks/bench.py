"""The finished mold laid out for inspection: solids, surfaces and what was asked of each piece."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import manifold3d as m3
import numpy as np

from shellgen.checks.bolt_probe import Probe, probes
from shellgen.checks.rays import Rays
from shellgen.checks.surface import Surface
from shellgen.checks.sweep import Sweep, sweeps
from shellgen.envelope.raster import FloatArray
from shellgen.job.model import PieceSettings
from shellgen.mold.mold import Mold, Part

RIM_MM = 0.0201  # the cavity is straight up to 0.02 over the board, where it need not lie on the pattern's skin


def solid_of(part: Part) -> m3.Manifold:
    """A part's mesh as a solid of the mesh kernel; an empty one if the kernel refuses it (see `closed.py`)."""
    vertices = np.array(part.vertices_mm, np.float64, order="C")  # the kernel takes no read-only arrays
    return m3.Manifold(m3.Mesh64(vertices, np.array(part.faces, np.uint64, order="C")))


@dataclass(frozen=True)
class Bench:
    """A mold under inspection; everything costly is made once, when first asked for."""

    mold: Mold

    @cached_property
    def parts(self) -> dict[str, Part]:
        """Parts by name."""
        return {part.name: part for part in self.mold.parts}

    @cached_property
    def _rays(self) -> dict[str, Rays]:
        return {}

    def rays(self, name: str) -> Rays:
        """A part made ready for rays, when first asked for."""
        if name not in self._rays:
            self._rays[name] = Rays.of(self.parts[name].vertices_mm, self.parts[name].faces)
        return self._rays[name]

    @cached_property
    def _solids(self) -> dict[str, m3.Manifold]:
        return {}

    def solid(self, name: str) -> m3.Manifold:
        """A part's solid, made when first asked for."""
        if name not in self._solids:
            self._solids[name] = solid_of(self.parts[name])
        return self._solids[name]

    @cached_property
    def rigid(self) -> tuple[Part, ...]:
        """All parts but the rubber."""
        return tuple(part for part in self.mold.parts if part.kind != "jacket")

    @cached_property
    def shells(self) -> tuple[Part, ...]:
        """The shell pieces."""
        return tuple(part for part in self.mold.parts if part.kind == "shell")

    @cached_property
    def jackets(self) -> tuple[Part, ...]:
        """The rubber."""
        return tuple(part for part in self.mold.parts if part.kind == "jacket")

    @cached_property
    def sweeps(self) -> tuple[Sweep, ...]:
        """Each rigid part drawn past each part that stays when it leaves."""
        return tuple(sweeps(self.parts, self.mold.design.assembly))

    @cached_property
    def probes(self) -> tuple[Probe, ...]:
        """What each end of each bolt finds in its part."""
        bolts = self.mold.design.bolts
        named = {name for bolt in bolts for name in bolt.pair if name in self.parts}
        return tuple(probes(bolts, {name: self.solid(name) for name in sorted(named)}))

    @cached_property
    def surfaces(self) -> dict[str, Surface]:
        """Surfaces of the rigid parts by name, for distances."""
        return {part.name: Surface.of(part.vertices_mm, part.faces) for part in self.rigid}

    @cached_property
    def pattern(self) -> Surface:
        """The pattern's surface, for distances: every triangle that the rubber must cover."""
        return Surface.of(self.mold.design.pattern.vertices_mm, self.mold.design.pattern.faces)

    @cached_property
    def skin(self) -> Surface:
        """The pattern's closed skin, for the question which side of it a point lies on."""
        skin, pattern = self.mold.design.pattern.skin, self.mold.design.pattern
        if skin.vertices_mm is pattern.vertices_mm and skin.faces is pattern.faces:
            return self.pattern
        return Surface.of(skin.vertices_mm, skin.faces)

    @cached_property
    def hull_points(self) -> FloatArray:
        """The pattern's points (k, 3) on its convex hull; all of them where they lie in one plane."""
        from scipy.spatial import ConvexHull, QhullError

        vertices = self.mold.design.pattern.vertices_mm
        try:
            return np.asarray(vertices[np.sort(ConvexHull(vertices).vertices)])
        except QhullError:
            return vertices

    @property
    def on_board(self) -> bool:
        """Whether the mold stands on a board, at z = 0."""
        return self.mold.design.pattern.mount != "none"

    @cached_property
    def jacket_outside(self) -> Surface:
        """The rubber's outside: all but its cavity (which lies on the pattern's skin) and its face on the board."""
        from scipy.spatial import cKDTree

        skin = self.mold.design.pattern.skin
        tree = cKDTree(skin.vertices_mm, balanced_tree=False, compact_nodes=False)
        vertices, faces = [np.empty((0, 3))], [np.empty((0, 3), np.int32)]
        for part in self.jackets:
            on_skin = tree.query(part.vertices_mm, distance_upper_bound=1e-4, workers=2)[0] < 1e-4
            outside = part.faces[~on_skin[part.faces].any(1)]
            if self.on_board:
                outside = outside[(part.vertices_mm[outside, 2] > RIM_MM).any(1)]
            faces.append(outside + sum(len(v) for v in vertices))
            vertices.append(part.vertices_mm)
        return Surface.of(np.concatenate(vertices), np.concatenate(faces).astype(np.int32))

    def asked(self, piece: str) -> tuple[float, float, float]:
        """Rubber thickness, clearance and wall asked under and of one piece [mm]."""
        settings = self.mold.design.settings
        own = own_settings(settings.pieces, piece)
        thickness = (own.thickness_mm if own else None) or settings.jacket.thickness_mm
        clearance = own.clearance_mm if own and own.clearance_mm is not None else settings.jacket.clearance_mm
        wall = (own.wall_mm if own else None) or settings.shell.wall_mm
        return thickness, clearance or 0.0, wall


def own_settings(pieces: dict[str, PieceSettings], part_name: str) -> PieceSettings | None:
    """The table of one piece: under the part's name, or under the letter that ends it."""
    return pieces.get(part_name) or pieces.get(re.split(r"[^A-Za-z0-9]", part_name)[-1].upper())


def place(point: Iterable[Any]) -> str:
    """A point in words, to a tenth of a mm."""
    return "(" + ", ".join(f"{float(x) + 0.0:.1f}" for x in point) + ")"
