"""A seam and where it runs; the seams of a mating face that knows its own lines. mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import substring

from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Bolt, FaceSeam
from shellgen.shop.joint.seam import SeamLine
from shellgen.solid.recipe import inverse, transform

OFF_LINE_MM = 5.0  # rows are cut and joined by little: a bolt stands that near to its line


@dataclass(frozen=True, slots=True, eq=False)
class SeamPath:
    """A seam and where it runs: its bolts and its gaps in the plan of its first piece, or of its mating face.

    bolts_mm : (n, 2). gaps_mm : one polyline (k, 2) for each gap, free ends included, in the order of the report.
    heel_mm : bolt axis to flange edge. outline : the flange it belongs to. to_mold : 4x4, of the plan's frame.
    """

    line: SeamLine
    bolts_mm: FloatArray
    gaps_mm: tuple[FloatArray, ...]
    heel_mm: float
    outline: Polygon
    to_mold: FloatArray


def face_paths(face: FaceSeam, bolts: Sequence[Bolt]) -> list[SeamPath]:
    """Seams of a mating face, one for each line that bolts stand on; its free ends run out to where the face ends."""
    mine = [b for b in bolts if b.setup == "closing" and b.pair == face.pair]
    spots = transform(np.array([b.seats_mm[0] for b in mine], float), inverse(face.to_mold))[:, :2]
    away = np.array([[LineString(line).distance(Point(p)) for line in face.lines] for p in spots])
    paths = []
    for k, points in enumerate(face.lines):
        on = spots[(away.argmin(axis=1) == k) & (away[:, k] < OFF_LINE_MM)]
        if not len(on):
            continue
        line = LineString(points)
        at = np.array([line.project(Point(p)) for p in on])
        order = np.argsort(at, kind="stable")
        at, on = at[order], on[order]
        heel = float(np.median([face.outline.exterior.distance(Point(p)) for p in on]))
        spans = [substring(line, a, b) for a, b in pairwise(at)]
        if np.allclose(points[0], points[-1]):
            round_it = np.vstack([substring(line, at[-1], line.length).coords, substring(line, 0.0, at[0]).coords])
            found, ends = [*spans, LineString(round_it)], None
            shown = found
        else:
            low, high = substring(line, 0.0, at[0]), substring(line, at[-1], line.length)
            found, ends = spans, (low.length, high.length)
            shown = [g for g in (low, *spans, high) if g.length > 0]
        seam = SeamLine(face.pair, tuple(g.length for g in found), ends)
        paths.append(SeamPath(seam, on, tuple(np.asarray(g.coords) for g in shown), heel, face.outline, face.to_mold))
    return paths
