"""Which gaps between bolts really have a gusset on both pieces; the others are reckoned without."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.raster import FloatArray
from shellgen.mold.gussets import web_plan
from shellgen.mold.mold import MoldDesign
from shellgen.parting.surface import ValleyParting
from shellgen.shop.joint.report import JointReport
from shellgen.shop.seam_path import SeamPath
from shellgen.solid.recipe import Feature, PieceRecipe, Prism, Role, inverse, moved_shape

ON_MM = 1e-3


def webbed(design: MoldDesign, paths: Sequence[SeamPath]) -> list[bool]:
    """For each gap of all seams, free ends included, whether a web crosses it on both pieces.

    Gaps run in their path's plan; the webs of both pieces are carried into it.
    """
    pieces = {piece.name: piece for piece in design.pieces}
    out = []
    for path in paths:
        first, second = (pieces[name] for name in path.line.pair)
        plans = _plans(first, second, path.to_mold)
        out += [all(any(web.intersects(LineString(gap)) for web in on) for on in plans) for gap in path.gaps_mm]
    return out


def _plans(first: PieceRecipe, second: PieceRecipe, to_mold: FloatArray) -> list[list[BaseGeometry]]:
    """Plans of the webs that stand on the face between two pieces, by piece, in a frame of that face."""
    out = []
    for piece in (first, second):
        into = inverse(to_mold) @ piece.pull_to_mold
        webs = [f for f in piece.features if f.role is Role.GUSSET and all(_on(f, piece, p) for p in (first, second))]
        out.append([web_plan(replace(f, shape=moved_shape(f.shape, into))) for f in webs])
    return out


def _on(web: Feature, piece: PieceRecipe, other: PieceRecipe) -> bool:
    """Whether a piece's web begins on another's mating faces; two halves have but the one face."""
    if not isinstance(other.parting, ValleyParting) or not isinstance(web.shape, Prism):
        return True
    into = inverse(other.pull_to_mold) @ piece.pull_to_mold
    x, y, z = (np.array(c) for c in np.asarray(into[:3, :3] @ np.array(web.shape.origin) + into[:3, 3]))
    return abs(float(other.parting.at(x, y) - z)) < ON_MM


def as_built(with_webs: JointReport, without: JointReport, has_web: Sequence[bool]) -> JointReport:
    """The report of a joint of which some gaps have no web: those open as far as they would in a flange without any.

    The largest pitch is the one without webs as soon as a gap between two bolts has none.
    """
    gaps = tuple(g if w else b for g, b, w in zip(with_webs.gaps, without.gaps, has_web, strict=True))
    every = all(w for g, w in zip(with_webs.gaps, has_web, strict=True) if g.kind == "span")
    return replace(with_webs, gaps=gaps, pitch=with_webs.pitch if every else without.pitch)
