"""Cameras for parallel views: which way they look, and how a subject fits into the picture. Lengths mm, mold frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.solid.recipe import Point


@dataclass(frozen=True, slots=True)
class Camera:
    """A parallel view: unit axes right, up and towards the viewer; `centre` is seen at pixel `middle_px`."""

    right: Point
    up: Point
    towards: Point
    centre: Point
    middle_px: tuple[float, float]
    mm_per_px: float
    width_px: int
    height_px: int

    @property
    def axes(self) -> FloatArray:
        """(3, 3): rows right, up, towards."""
        return np.array([self.right, self.up, self.towards])

    def project(self, points_mm: FloatArray) -> FloatArray:
        """(n, 3) points to (n, 3): pixels right, pixels down, mm towards the viewer from the centre."""
        scale = np.array([[1 / self.mm_per_px], [-1 / self.mm_per_px], [1.0]])
        to_screen = scale * self.axes
        shift = np.array([*self.middle_px, 0.0]) - to_screen @ np.array(self.centre)
        return np.asarray(points_mm, float) @ to_screen.T + shift

    def at(self, point_mm: Point) -> tuple[float, float]:
        """The pixel of one point."""
        x, y, _ = self.project(np.array([point_mm]))[0]
        return float(x), float(y)


def look_along(towards: Point, up: Point = (0.0, 0.0, 1.0)) -> Camera:
    """A camera whose viewer stands in the direction `towards`; `up` is drawn upwards as far as it can be.

    It sees the origin at 1 mm a pixel until `fitted`. Where `up` is along the view, +y is taken, then +x.
    """
    t = np.array(towards, float)
    t /= np.linalg.norm(t)
    for wish in (up, (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)):
        u = np.array(wish, float) - float(np.dot(wish, t)) * t
        if np.linalg.norm(u) > 1e-3 * np.linalg.norm(wish):
            break
    u /= np.linalg.norm(u)
    return Camera(_point(np.cross(u, t)), _point(u), _point(t), (0.0, 0.0, 0.0), (0.0, 0.0), 1.0, 1, 1)


def three_quarter(across: Point, turn_deg: float = 35.0, rise_deg: float = 24.0) -> Camera:
    """A view from above and one side: `across` (level) runs to the right and, by `turn_deg`, towards the viewer."""
    a = np.array([across[0], across[1], 0.0])
    a = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(a) < 1e-6 else a / np.linalg.norm(a)
    front = np.array([a[1], -a[0], 0.0])
    turn, rise = np.radians(turn_deg), np.radians(rise_deg)
    level = np.cos(turn) * front + np.sin(turn) * a
    return look_along(_point(np.cos(rise) * level + np.sin(rise) * np.array([0.0, 0.0, 1.0])))


def fitted(
    camera: Camera, points_mm: FloatArray, size_px: tuple[int, int], frame_px: tuple[int, int, int, int]
) -> Camera:
    """The camera moved and scaled so that all points lie in `frame_px` (left, top, right, bottom) of a picture."""
    seen = camera.axes @ np.asarray(points_mm, float).T  # rows are quick to search
    low, high = seen.min(1), seen.max(1)
    left, top, right, bottom = frame_px
    scale = max((high[0] - low[0]) / (right - left), (high[1] - low[1]) / (bottom - top), 1e-9)
    return replace(
        camera,
        centre=_point((low + high) / 2 @ camera.axes),
        middle_px=((left + right) / 2, (top + bottom) / 2),
        mm_per_px=float(scale),
        width_px=size_px[0],
        height_px=size_px[1],
    )


def explode_offsets(
    order: tuple[str, ...],
    pulls: dict[str, Point],
    points_mm: dict[str, FloatArray],
    middle_mm: FloatArray,
    gap_mm: float,
) -> dict[str, FloatArray]:
    """How far each rigid part is moved along its pull so that all stand clear of the middle and of each other.

    order : parts as they go together. middle_mm : (n, 3) points of what stays (jacket, pattern). A part moves until it
    is past the middle, then past every earlier part that leaves within 60 degrees of the same way.
    """
    placed: list[tuple[FloatArray, FloatArray]] = []
    offsets: dict[str, FloatArray] = {}
    for name in order:
        pull = np.array(pulls[name], float)
        own = float((points_mm[name] @ pull).min())
        past = [float((middle_mm @ pull).max())]
        past += [float((points @ pull).max()) for points, other in placed if float(other @ pull) > 0.5]
        offsets[name] = max(0.0, max(past) - own + gap_mm) * pull
        placed.append((points_mm[name] + offsets[name], pull))
    return offsets


def _point(vector: FloatArray) -> Point:
    """Three floats."""
    return float(vector[0]), float(vector[1]), float(vector[2])
