"""Straight lines in plan, and polylines cut off at them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from shellgen.envelope.raster import FloatArray

FAR_MM = 1e5


@dataclass(frozen=True, slots=True)
class Line:
    """A line in plan and what lies on one side of it: a x + b y + c >= 0, (a, b) of length 1."""

    a: float
    b: float
    c_mm: float

    def over(self, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
        """How far points lie on its inner side [mm]."""
        return self.a * np.asarray(x_mm) + self.b * np.asarray(y_mm) + self.c_mm

    @property
    def normal(self) -> FloatArray:
        """(2,), to the inner side."""
        return np.array([self.a, self.b])

    @property
    def way(self) -> FloatArray:
        """Direction (2,) along the line, the inner side on its left."""
        return np.array([self.b, -self.a])

    @property
    def straight(self) -> bool:
        """Whether it runs along x or y."""
        return self.a == 0.0 or self.b == 0.0

    def place(self, t_mm: float) -> FloatArray:
        """The point (2,) at a distance along the line from its nearest to the origin."""
        return np.asarray(t_mm * self.way - self.c_mm * self.normal)

    def moved(self, by_mm: float) -> Line:
        """The line moved to its inner side."""
        return Line(self.a, self.b, self.c_mm - by_mm)


def cropped_box(
    box_mm: tuple[float, float, float, float], lines: tuple[Line, ...]
) -> tuple[float, float, float, float] | None:
    """What of a rectangle (x0, y0, x1, y1) lies inside of those lines that run along x or y; None if nothing does."""
    x0, y0, x1, y1 = box_mm
    for line in lines:
        if line.b == 0.0:
            x0, x1 = (max(x0, -line.c_mm), x1) if line.a > 0 else (x0, min(x1, line.c_mm))
        elif line.a == 0.0:
            y0, y1 = (max(y0, -line.c_mm), y1) if line.b > 0 else (y0, min(y1, line.c_mm))
    return (x0, y0, x1, y1) if x0 < x1 and y0 < y1 else None


def inner_ring(box_mm: tuple[float, float, float, float], lines: tuple[Line, ...]) -> shapely.Polygon:
    """What of a rectangle lies inside of lines, counter-clockwise."""
    region = shapely.box(*box_mm)
    for line in lines:
        at, along, in_ = line.place(0.0), FAR_MM * line.way, FAR_MM * line.normal
        region = region.intersection(shapely.Polygon([at - along, at + along, at + along + in_, at - along + in_]))
    return shapely.geometry.polygon.orient(region) if isinstance(region, shapely.Polygon) else shapely.Polygon()


def clipped(polyline: FloatArray, lines: tuple[Line, ...]) -> list[FloatArray]:
    """What of a polyline (n, 2), closed if it ends where it starts, lies inside of all lines; cut ends lie on them."""
    if not lines:
        return [polyline]
    inside = np.min([line.over(polyline[:, 0], polyline[:, 1]) for line in lines], axis=0) >= 0
    if inside.all():
        return [polyline]
    if np.allclose(polyline[0], polyline[-1], atol=1e-9):
        k = int(np.argmin(inside[:-1]))
        polyline = np.vstack([polyline[k:-1], polyline[: k + 1]])
    out: list[FloatArray] = []
    run: list[FloatArray] = []
    for p, q in pairwise(polyline):
        low, high = 0.0, 1.0
        for line in lines:
            f, g = float(line.over(p[0], p[1])), float(line.over(q[0], q[1]))
            if f < 0 and g < 0:
                low, high = 1.0, 0.0
            elif f < 0:
                low = max(low, f / (f - g))
            elif g < 0:
                high = min(high, f / (f - g))
        if low >= high:
            run = _ended(run, out)
            continue
        if low > 0 or not run:
            run = [*_ended(run, out), p + low * (q - p)]
        run.append(p + high * (q - p))
        if high < 1:
            run = _ended(run, out)
    _ended(run, out)
    return out


def _ended(run: list[FloatArray], out: list[FloatArray]) -> list[FloatArray]:
    """Put a run of points among the polylines found; a new, empty run."""
    if len(run) > 1:
        out.append(np.array(run))
    return []


def closing(polyline: FloatArray, region: shapely.Polygon) -> FloatArray:
    """An open polyline with both ends on the edge of a region, closed along that edge to the smaller of both rings."""
    edge = region.exterior
    first, last = (edge.project(shapely.Point(polyline[k])) for k in (0, -1))
    corners = np.asarray(edge.coords)[:-1]
    at = np.array([edge.project(shapely.Point(p)) for p in corners])
    whole = edge.length
    on = np.argsort((at - last) % whole)  # on from the last point, counter-clockwise
    ahead = corners[[k for k in on if (at[k] - last) % whole < (first - last) % whole]]
    back = corners[[k for k in on[::-1] if (at[k] - last) % whole > (first - last) % whole]]
    rings = [np.vstack([polyline, *part]) for part in (ahead, back)]
    return min(rings, key=lambda ring: float(shapely.Polygon(ring).area))
