"""Which gaps between bolts really have a gusset on both pieces; the others are reckoned without."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from shapely.affinity import scale
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from shellgen.mold.gussets import web_plan
from shellgen.mold.mold import MoldDesign
from shellgen.shop.joint.report import JointReport
from shellgen.shop.seam_path import SeamPath
from shellgen.solid.recipe import Role


def webbed(design: MoldDesign, paths: Sequence[SeamPath]) -> list[bool]:
    """For each gap of all seams, free ends included, whether a web crosses it on both halves.

    Plans are those of the first half; the second half's webs are turned over into it.
    """
    on: dict[str, list[BaseGeometry]] = {}
    for turned, piece in enumerate(design.pieces):
        plans = [web_plan(f) for f in piece.features if f.role is Role.GUSSET]
        on[piece.name] = [scale(p, xfact=-1.0, origin=(0, 0)) for p in plans] if turned else plans
    return [
        all(any(web.intersects(LineString(gap)) for web in on[name]) for name in path.line.pair)
        for path in paths
        for gap in path.gaps_mm
    ]


def as_built(with_webs: JointReport, without: JointReport, has_web: Sequence[bool]) -> JointReport:
    """The report of a joint of which some gaps have no web: those open as far as they would in a flange without any.

    The largest pitch is the one without webs as soon as a gap between two bolts has none.
    """
    gaps = tuple(g if w else b for g, b, w in zip(with_webs.gaps, without.gaps, has_web, strict=True))
    every = all(w for g, w in zip(with_webs.gaps, has_web, strict=True) if g.kind == "span")
    return replace(with_webs, gaps=gaps, pitch=with_webs.pitch if every else without.pitch)
