"""Engraved marks on the flange's outer faces: job, part, pair marks; the pull's arrow on the base flange."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.affinity import affine_transform
from shapely.geometry import Point as PlanPoint

from shellgen.envelope.raster import FloatArray
from shellgen.mold.flange import FlangePlan
from shellgen.mold.labels import text_polygons, text_prisms, text_width_mm
from shellgen.solid.recipe import Feature, Role

DEPTH_MM = 0.6
LEAST_LETTER_MM = 2.5


def flange_marks(
    plan: FlangePlan,
    middles: FloatArray,
    tangents: FloatArray,
    bolts: FloatArray,
    washer_mm: float,
    thickness_mm: float,
    texts: list[str],
) -> tuple[Feature, ...]:
    """Each text at a place of its own between two bolts, as large as fits; left out where nothing fits.

    All plan data in the piece's own frame. The longest text takes the roomiest place first.
    """
    keep_off = [PlanPoint(p).buffer(washer_mm / 2 + 1.0) for p in bolts]
    land = plan.outline.buffer(-0.8).difference(plan.section.buffer(1.0)).difference(shapely.union_all(keep_off))
    out: list[Feature] = []
    free = list(range(len(middles)))
    for text in texts:
        best: tuple[float, int, FloatArray, FloatArray] | None = None
        for k in free:
            x_axis = np.array([*tangents[k], 0.0])
            if x_axis[0] < -0.2 or (abs(x_axis[0]) <= 0.2 and x_axis[1] < 0):
                x_axis = -x_axis
            y_axis = np.array([-x_axis[1], x_axis[0], 0.0])
            for letter in (7.0, 6.0, 5.0, 4.0, 3.0, LEAST_LETTER_MM):
                if best is not None and letter <= best[0]:
                    break
                width = text_width_mm(text, letter)
                corner = np.array([*middles[k], 0.0]) - 0.5 * width * x_axis - 0.5 * letter * y_axis
                frame = [x_axis[0], y_axis[0], x_axis[1], y_axis[1], corner[0], corner[1]]
                if land.contains(affine_transform(text_polygons(text, letter), frame)):
                    best = (letter, k, x_axis, corner)
                    break
        if best is None:
            continue
        letter, k, x_axis, corner = best
        free.remove(k)
        y_axis = np.array([-x_axis[1], x_axis[0], 0.0])
        origin = (float(corner[0]), float(corner[1]), thickness_mm - DEPTH_MM)
        prisms = text_prisms(text, letter, origin, _point(x_axis), _point(y_axis), DEPTH_MM + 0.5)
        out += [Feature(Role.LABEL, p, add=False) for p in prisms]
    return tuple(out)


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
