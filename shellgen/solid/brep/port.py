"""Ports and vents: a boss on the outer skin, a bore through both, blind bores for a lid's bolts.

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

ON_AXIS_MM = 0.01
CLEAR_MM = 0.05  # between a port's wall and the edge of the skin it stands on
NEAR_MM = 1e-4  # how closely a circle's height on a skin is followed


@dataclass(frozen=True, slots=True)
class Bore:
    """A round wall along the pull: middle (x, y), radius, heights of its foot and its end."""

    middle: tuple[float, float]
    radius_mm: float
    foot_mm: float
    end_mm: float


@dataclass(frozen=True, slots=True)
class PortPlan:
    """Boss (its end is the seat; None for a plain bore), bore, and blind bores from their ends down to their feet."""

    boss: Bore | None
    bore: Bore
    inserts: tuple[Bore, ...]


def port_plans(recipe: PieceRecipe) -> tuple[tuple[PortPlan, ...], tuple[Feature, ...]]:
    """The ports and vents among a recipe's features, and the features that are not part of them.

    Raises KernelError for a boss without a bore of its own.
    """
    bosses = [f for f in recipe.features if f.role is Role.PORT and f.body and f.add]
    bores = [f for f in recipe.features if f.role is Role.PORT and not f.add]
    mine = {id(f) for f in (*bosses, *bores)}
    plans = []
    for boss in bosses:
        stand = _upright(boss)
        within = [f for f in bores if _distance(stand, f) < ON_AXIS_MM]
        if len(within) != 1:
            x, y = stand.middle
            raise KernelError(
                f"shell piece {recipe.name}: the port's boss at ({x:.1f}, {y:.1f}) has {len(within)} bores"
            )
        bores = [f for f in bores if f is not within[0]]
        inserts = [f for f in recipe.features if f.role is Role.INSERT and _distance(stand, f) < stand.radius_mm]
        mine |= {id(f) for f in inserts}
        plans.append(PortPlan(stand, _upright(within[0]), tuple(_upright(f) for f in inserts)))
    plans += [PortPlan(None, _upright(f), ()) for f in bores]
    return tuple(plans), tuple(f for f in recipe.features if id(f) not in mine)


def _distance(stand: Bore, feature: Feature) -> float:
    """From the axis of a round wall to a feature's in plan; infinite if it has none."""
    if not isinstance(feature.shape, Frustum):
        return float(np.inf)
    x, y, _ = feature.shape.base
    return float(np.hypot(x - stand.middle[0], y - stand.middle[1]))


def _upright(feature: Feature) -> Bore:
    """A feature as a round wall along the pull."""
    s = feature.shape
    if not isinstance(s, Frustum) or s.axis != (0.0, 0.0, 1.0) or s.r0_mm != s.r1_mm:
        raise KernelError(f"a {feature.role.value} is not a cylinder along the pull")
    return Bore((s.base[0], s.base[1]), s.r0_mm, s.base[2], s.base[2] + s.length_mm)


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
        low, high = flat_rim(blind, blind.foot_mm), flat_rim(blind, seat)
        faces.append(tube(blind, low, high, outward=False))
        ground = occ.plane((*blind.middle, blind.foot_mm), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
        faces += faces_of([low.side], ground, True, what)
        rims.append(high.side.turned())
    level = occ.plane((*port.boss.middle, seat), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    faces += faces_of(rims, level, True, what)
    return PortFaces(tuple(faces), (over, foot.side.turned()), (under, inner.side.turned()))


def stands_wholly(port: PortPlan, outside: Skin, inside: Skin) -> bool:
    """Whether a port's walls all stand on the skins, clear of their edges."""
    try:
        _face_under(port.boss or port.bore, outside, "")
        _face_under(port.bore, inside, "")
    except KernelError:
        return False
    return True


def _face_under(wall: Bore, skin: Skin, what: str) -> SkinFace:
    """The face of a skin that a round wall stands wholly on, its foot below it all round."""
    x, y = wall.middle
    ring = _circle(wall)
    low = float(skin.graph.at(ring[:, 0], ring[:, 1]).min())
    if low <= wall.foot_mm:
        raise KernelError(
            f"{what}: the port's wall, radius {wall.radius_mm:.1f} mm at ({x:.1f}, {y:.1f}), ends "
            f"{wall.foot_mm - low:.2f} mm over the shell's surface"
        )
    for face in skin.faces:
        if face.region.buffer(-CLEAR_MM).contains(shapely.LinearRing(ring)):
            return face
    raise KernelError(
        f"{what}: the port's wall, radius {wall.radius_mm:.1f} mm at ({x:.1f}, {y:.1f}), runs over the shell's edge"
    )


def must_stand_apart(ports: tuple[PortPlan, ...], what: str) -> None:
    """Raise KernelError where two ports touch."""
    walls = [p.boss or p.bore for p in ports]
    for k, one in enumerate(walls):
        for other in walls[k + 1 :]:
            gap = float(np.hypot(*np.subtract(one.middle, other.middle))) - one.radius_mm - other.radius_mm
            if gap < CLEAR_MM:
                x, y = other.middle
                raise KernelError(f"{what}: the port at ({x:.1f}, {y:.1f}) runs into another by {-gap:.2f} mm")
