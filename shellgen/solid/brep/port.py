"""The port of a closed mold: a boss on the outer skin, a bore through both, blind bores for the lid's bolts.

All walls stand along the pull, so their lines on a skin are plain circles in its parameters; only the height along the
circle has to be followed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, greville
from shellgen.errors import KernelError
from shellgen.solid.brep import occ
from shellgen.solid.brep.loops import Side, faces_of
from shellgen.solid.brep.planar_curve import interpolated
from shellgen.solid.brep.skin_face import Skin, SkinFace
from shellgen.solid.recipe import Feature, Frustum, PieceRecipe, Role

CLEAR_MM = 0.05  # between a port's wall and the edge of the skin it stands on
NEAR_MM = 1e-4  # how closely a circle's height on a skin is followed


@dataclass(frozen=True, slots=True)
class Bore:
    """A round wall along the pull: middle (x, y), radius, and its flat end where it has one."""

    middle: tuple[float, float]
    radius_mm: float
    end_mm: float


@dataclass(frozen=True, slots=True)
class PortPlan:
    """Boss (its end is the seat; None for a plain bore), bore, and blind bores in the seat."""

    boss: Bore | None
    bore: Bore
    inserts: tuple[Bore, ...]


def port_plan(recipe: PieceRecipe) -> tuple[PortPlan | None, tuple[Feature, ...]]:
    """The port among a recipe's features, and the features that are not part of it.

    Raises KernelError for a port that is not one boss with one bore.
    """
    boss = [f for f in recipe.features if f.role is Role.PORT and f.body and f.add]
    bores = [f for f in recipe.features if f.role is Role.PORT and not f.body]
    if not boss and not bores:
        return None, recipe.features
    if len(boss) > 1 or len(bores) != 1:
        raise KernelError(f"shell piece {recipe.name}: {len(boss)} bosses and {len(bores)} bores are no port")
    if not boss:
        return PortPlan(None, _upright(bores[0]), ()), tuple(f for f in recipe.features if f is not bores[0])
    stand, hole = _upright(boss[0]), _upright(bores[0])
    inserts = [
        f
        for f in recipe.features
        if f.role is Role.INSERT
        and isinstance(f.shape, Frustum)
        and np.hypot(f.shape.base[0] - stand.middle[0], f.shape.base[1] - stand.middle[1]) < stand.radius_mm
    ]
    mine = {id(f) for f in (*boss, *bores, *inserts)}
    rest = tuple(f for f in recipe.features if id(f) not in mine)
    blind = tuple(Bore(b.middle, b.radius_mm, f.shape.base[2]) for f, b in ((f, _upright(f)) for f in inserts))  # type: ignore[union-attr]
    return PortPlan(stand, hole, blind), rest


def _upright(feature: Feature) -> Bore:
    """A feature as a round wall along the pull."""
    s = feature.shape
    if not isinstance(s, Frustum) or s.axis != (0.0, 0.0, 1.0) or s.r0_mm != s.r1_mm:
        raise KernelError(f"a {feature.role.value} is not a cylinder along the pull")
    return Bore((s.base[0], s.base[1]), s.r0_mm, s.base[2] + s.length_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """A closed edge about an axis, counter-clockwise from angle 0, and its height over the angle on the round wall."""

    side: Side
    vertex: Any
    height_2d: Any
    tolerance_mm: float


def flat_rim(wall: Bore, level_mm: float) -> Rim:
    """The circle of a round wall at a height."""
    from OCP.Geom import Geom_Circle
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    (x, y), r = wall.middle, wall.radius_mm
    start = occ.vertex(np.array([x + r, y, level_mm]))
    circle = Geom_Circle(gp_Ax2(gp_Pnt(x, y, level_mm), gp_Dir(0, 0, 1), gp_Dir(1, 0, 0)), r)
    item = occ.edge(circle, start, start, 0.0, 2 * np.pi)
    return Rim(Side(item, True, _circle(wall)), start, occ.line_2d((0.0, level_mm), (1.0, 0.0)), occ.TIGHT_MM)


def skin_rim(wall: Bore, skin: SkinFace) -> Rim:
    """The line of a round wall on a skin."""
    from OCP.Geom2d import Geom2d_Circle
    from OCP.gp import gp_Ax2d, gp_Dir2d, gp_Pnt2d
    from scipy.interpolate import BSpline

    (x, y), r = wall.middle, wall.radius_mm

    def point(angle: FloatArray) -> FloatArray:
        px, py = x + r * np.cos(angle), y + r * np.sin(angle)
        return np.column_stack([px, py, skin.graph.at(px, py)])

    n = 48
    while True:
        angle = np.linspace(0, 2 * np.pi, n + 1)
        knots, poles = interpolated(angle, point(angle), closed=True)
        fine = np.linspace(0, 2 * np.pi, 8 * n + 1)
        off = float(np.linalg.norm(BSpline(knots, poles, DEGREE)(fine) - point(fine), axis=1).max())
        if off < NEAR_MM or n > 1500:
            break
        n *= 2
    tolerance = max(off, occ.SPLINE_MM)
    start = occ.vertex(poles[0], tolerance)
    item = occ.edge(occ.spline_curve(knots, poles), start, start, 0.0, 2 * np.pi, tolerance)
    circle = Geom2d_Circle(gp_Ax2d(gp_Pnt2d(x, y), gp_Dir2d(1.0, 0.0)), r)
    occ.lay_on(item, circle, skin.surface, 0.0, 2 * np.pi, tolerance)
    # the angle is its own cubic, with poles at the Greville points
    heights = occ.spline_curve_2d(knots, np.column_stack([greville(knots), poles[:, 2]]))
    return Rim(Side(item, True, _circle(wall)), start, heights, tolerance)


def _circle(wall: Bore) -> FloatArray:
    a = np.linspace(0, 2 * np.pi, 97)
    return np.column_stack([wall.middle[0] + wall.radius_mm * np.cos(a), wall.middle[1] + wall.radius_mm * np.sin(a)])


def tube(wall: Bore, low: Rim, high: Rim, outward: bool) -> Any:
    """The round face between two rims; outward if the material lies within."""
    from OCP.BRep import BRep_Builder, BRep_Tool
    from OCP.Geom import Geom_CylindricalSurface, Geom_Line
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt
    from OCP.TopLoc import TopLoc_Location

    (x, y), r = wall.middle, wall.radius_mm
    surface = Geom_CylindricalSurface(gp_Ax3(gp_Pnt(x, y, 0.0), gp_Dir(0, 0, 1), gp_Dir(1, 0, 0)), r)
    for rim in (low, high):
        occ.lay_on(rim.side.edge, rim.height_2d, surface, 0.0, 2 * np.pi, rim.tolerance_mm)
    z0, z1 = BRep_Tool.Pnt_s(low.vertex).Z(), BRep_Tool.Pnt_s(high.vertex).Z()
    seam = occ.edge(Geom_Line(gp_Pnt(x + r, y, 0.0), gp_Dir(0, 0, 1)), low.vertex, high.vertex, z0, z1)
    last, first = occ.line_2d((2 * np.pi, 0.0), (0.0, 1.0)), occ.line_2d((0.0, 0.0), (0.0, 1.0))
    builder = BRep_Builder()
    builder.UpdateEdge(seam, last, first, surface, TopLoc_Location(), occ.TIGHT_MM)
    builder.Range(seam, surface, TopLoc_Location(), z0, z1)
    loop = [(low.side.edge, True), (seam, True), (high.side.edge, False), (seam, False)]
    return occ.face(surface, [loop], outward)


@dataclass(frozen=True, slots=True, eq=False)
class PortFaces:
    """All faces of a port, and the sides that it takes out of one outer and one inner face of the skins."""

    faces: tuple[Any, ...]
    outer: tuple[SkinFace, Side]
    inner: tuple[SkinFace, Side]


def port_faces(port: PortPlan, outside: Skin, inside: Skin, what: str) -> PortFaces:
    """Build a port. Raises KernelError if it does not stand wholly on the shell."""
    over, under = _face_under(port.boss or port.bore, outside, what), _face_under(port.bore, inside, what)
    inner = skin_rim(port.bore, under)
    if port.boss is None:
        mouth = skin_rim(port.bore, over)
        wall = tube(port.bore, inner, mouth, outward=False)
        return PortFaces((wall,), (over, mouth.side.turned()), (under, inner.side.turned()))
    seat, ring = port.boss.end_mm, _circle(port.boss)
    if float(outside.graph.at(ring[:, 0], ring[:, 1]).max()) >= seat:
        raise KernelError(f"{what}: the port's seat, {seat:.1f} mm high, does not clear the shell")
    foot, top, mouth = skin_rim(port.boss, over), flat_rim(port.boss, seat), flat_rim(port.bore, seat)
    faces = [tube(port.boss, foot, top, outward=True), tube(port.bore, inner, mouth, outward=False)]
    rims = [top.side, mouth.side.turned()]
    for blind in port.inserts:
        low, high = flat_rim(blind, blind.end_mm), flat_rim(blind, seat)
        faces.append(tube(blind, low, high, outward=False))
        ground = occ.plane((*blind.middle, blind.end_mm), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
        faces += faces_of([low.side], ground, True, what)
        rims.append(high.side.turned())
    level = occ.plane((*port.boss.middle, seat), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    faces += faces_of(rims, level, True, what)
    return PortFaces(tuple(faces), (over, foot.side.turned()), (under, inner.side.turned()))


def _face_under(wall: Bore, skin: Skin, what: str) -> SkinFace:
    """The face of a skin that a round wall stands wholly on."""
    ring = shapely.LinearRing(_circle(wall))
    for face in skin.faces:
        if face.region.buffer(-CLEAR_MM).contains(ring):
            return face
    x, y = wall.middle
    raise KernelError(
        f"{what}: the port's wall, radius {wall.radius_mm:.1f} mm at ({x:.1f}, {y:.1f}), runs over the shell's edge"
    )
