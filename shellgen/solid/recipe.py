"""The recipe of a rigid piece: graphs, an outline, features. Plain frozen data that two kernels read.

    piece = { (x, y) in the outline,  max(I, P) <= z <= max(O, P + flange) }  with y >= 0 on a board, + features

P is the parting, I the shell's inside, O its outside, all height fields in the piece's pull frame.
Coordinates of everything in a recipe are mm in that frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
import shapely

from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.parting.surface import Parting

Point = tuple[float, float, float]
Ring = tuple[tuple[float, float], ...]


class Role(Enum):
    """What a feature is for."""

    BOLT_HOLE = "bolt hole"
    BASE_HOLE = "base hole"
    PIN_HOLE = "pin hole"
    SEAT = "washer seat"
    POCKET = "hex pocket"
    INSERT = "insert bore"
    KEY = "key"
    SOCKET = "socket"
    PRY_SLOT = "pry slot"
    GUSSET = "gusset"
    FOOT = "foot"
    PLATE = "flange plate"
    PORT = "port"
    LABEL = "label"


@dataclass(frozen=True, slots=True)
class Frustum:
    """A cylinder or cone from `base` along `axis` (unit), radius r0 at the base and r1 at the far end."""

    base: Point
    axis: Point
    length_mm: float
    r0_mm: float
    r1_mm: float


@dataclass(frozen=True, slots=True)
class Dome:
    """A spherical cap that stands on a flat circle at `base`, rim radius `rim_mm`, `height_mm` high along `axis`."""

    base: Point
    axis: Point
    rim_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Prism:
    """A polygon with holes at `origin` in the plane of `x_axis` and `y_axis`, pushed along their cross product."""

    outer: Ring
    holes: tuple[Ring, ...]
    origin: Point
    x_axis: Point
    y_axis: Point
    length_mm: float

    @property
    def up(self) -> FloatArray:
        """The direction (3,) that it is pushed along."""
        return np.cross(self.x_axis, self.y_axis)


Shape = Frustum | Dome | Prism


@dataclass(frozen=True, slots=True)
class Feature:
    """One shape that is added to the piece or cut from it.

    `body` features join the wall before the jacket's room is taken out and the piece is trimmed at its parting;
    the others come after, in order.
    """

    role: Role
    shape: Shape
    add: bool
    body: bool = False
    through: bool = False


@dataclass(frozen=True, slots=True)
class Outline:
    """The flange in plan: closed rings, end not repeated, outer counter-clockwise; thickness square to the parting."""

    outer: Ring
    holes: tuple[Ring, ...]
    thickness_mm: float


@dataclass(frozen=True, slots=True)
class BaseFlange:
    """The flange on the board: lies between y = 0 and y = thickness, from the parting out to reach(x) along the pull.

    `reach` : ((x, z), ...) increasing in x; a graph, so that it draws with the piece.
    """

    reach: Ring
    thickness_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class PieceRecipe:
    """One shell piece.

    flange_top : the flange's outer face, a raster in this piece's frame, where the parting is stepped; elsewhere the
    flange's thickness square to the parting says it. apart : further outlines of a flange that is not of one part.
    Between a list of planes (PlanesParting) each mating face has a plate of its own, a body feature, and the outlines
    are those plates as seen along the pull.
    """

    name: str
    pull_to_mold: FloatArray
    parting: Parting
    jacket: Envelope
    inside: Envelope
    outside: Envelope
    outline: Outline
    on_board: bool
    base: BaseFlange | None
    features: tuple[Feature, ...]
    flange_top: Envelope | None = None
    apart: tuple[Outline, ...] = ()

    def genus(self) -> int:
        """Through holes by design: those bored, openings of the flange, windows between it and the base flange."""
        holes = sum(f.through for f in self.features) + sum(len(o.holes) for o in (self.outline, *self.apart))
        if self.base is None:
            return holes
        flange = shapely.union_all([shapely.Polygon(o.outer, o.holes) for o in (self.outline, *self.apart)])
        reach = self.base.reach
        foot = shapely.box(reach[0][0], 0.0, reach[-1][0], self.base.thickness_mm)
        return holes + _openings(flange.union(foot)) - _openings(flange)


def _openings(region: shapely.Geometry) -> int:
    """Holes of a region in plan, all its parts together."""
    return int(shapely.get_num_interior_rings(shapely.get_parts(region)).sum())


@dataclass(frozen=True, slots=True, eq=False)
class PlateRecipe:
    """A flat part (lid): an outline of given thickness with features, in its own frame with the underside at z = 0."""

    name: str
    kind: str
    plate_to_mold: FloatArray
    outline: Outline
    features: tuple[Feature, ...]

    def genus(self) -> int:
        """Through holes by design."""
        return sum(f.through for f in self.features) + len(self.outline.holes)


def moved_shape(shape: Shape, matrix: FloatArray) -> Shape:
    """A shape under a rigid 4x4 motion."""
    if isinstance(shape, Prism):
        return replace(
            shape,
            origin=_moved_point(shape.origin, matrix),
            x_axis=_turned(shape.x_axis, matrix),
            y_axis=_turned(shape.y_axis, matrix),
        )
    return replace(shape, base=_moved_point(shape.base, matrix), axis=_turned(shape.axis, matrix))


def _moved_point(point: Point, matrix: FloatArray) -> Point:
    x, y, z = transform(np.array([point]), matrix)[0].tolist()
    return (x, y, z)


def _turned(axis: Point, matrix: FloatArray) -> Point:
    x, y, z = (matrix[:3, :3] @ np.asarray(axis)).tolist()
    return (x, y, z)


def inverse(matrix: FloatArray) -> FloatArray:
    """The inverse of a rigid 4x4 motion."""
    out = np.eye(4)
    out[:3, :3] = matrix[:3, :3].T
    out[:3, 3] = -matrix[:3, :3].T @ matrix[:3, 3]
    return out


def transform(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Points (n, 3) moved by a 4x4 matrix."""
    return np.asarray(points) @ matrix[:3, :3].T + matrix[:3, 3]
