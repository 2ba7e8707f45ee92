"""What holds two pieces together and in place: bolt holes, keys and sockets, pry slots on one mating face."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.mold import Bolt, End, Key
from shellgen.mold.places import SLOT_HALF_MM, Places, Slot, bolt_offset_mm
from shellgen.solid.recipe import Dome, Feature, Frustum, Prism, Role, moved_shape, transform
from shellgen.standards.fasteners import BoltData
from shellgen.standards.fasteners import bolt as bolt_data

NUT_PLAY_MM = 0.3  # a hex pocket is this much wider than the nut; common practice, no source
SPOT_FACE_MM = 0.5  # a spot face reaches this far beyond its washer
OVER_SEAT_MM = 3.0  # and at least this high


@dataclass(frozen=True, slots=True, eq=False)
class Closing:
    """Features of both pieces, each in its own frame of the mating face, and bolts and keys in the mold frame.

    The face's frame has z along its normal into the piece; the second piece's is the first one's turned over.
    """

    first: tuple[Feature, ...]
    second: tuple[Feature, ...]
    bolts: tuple[Bolt, ...]
    keys: tuple[Key, ...]


@dataclass(frozen=True, slots=True)
class Ground:
    """A mating face that is not flat.

    level : height of the face at a point (x, y) of the first piece's frame. crest : how far the flange's outer faces of
    the first and the second piece rise over their seats within a radius of a point (x, y, radius), 0 where they lie in
    the seat.
    """

    level: Callable[[float, float], float]
    crest: Callable[[float, float, float], tuple[float, float]]


def closing(
    places: Places, settings: Settings, pair: tuple[str, str], face_to_mold: FloatArray, ground: Ground | None = None
) -> Closing:
    """Bolts, keys and slots at their places. face_to_mold : of the first piece's frame of the face.

    ground : for a face that is not the plane z = 0 of its frame; features stand on its level, seats are spot-faced.
    """
    data = bolt_data(str(settings.bolts.size))
    thickness = float(settings.flange.thickness_mm or 0.0)
    first: list[Feature] = []
    second: list[Feature] = []
    bolts: list[Bolt] = []
    keys: list[Key] = []
    hole = data.hole_mm[settings.bolts.fit]
    end, far = _nut_end(settings, data, thickness)
    for x, y in places.spots:
        z = 0.0 if ground is None else ground.level(float(x), float(y))
        first += _lifted([_bore(x, y, hole / 2, -1.0, thickness + 1.0, True, Role.BOLT_HOLE)], z)
        second += _lifted(_nut_side(settings, data, -x, y, thickness, hole), -z)
        if ground is not None:
            radius = data.washer_od_mm / 2 + SPOT_FACE_MM
            for features, crest, u, level in zip(
                (first, second), ground.crest(float(x), float(y), radius), (x, -x), (z, -z), strict=True
            ):
                if crest > 0:
                    top = thickness + max(crest + 1.0, OVER_SEAT_MM)
                    features += _lifted([_bore(u, y, radius, thickness, top, False, Role.SEAT)], level)
        seats = transform(np.array([[x, y, z + thickness], [x, y, z - far]]), face_to_mold)
        bolts.append(Bolt(pair, data.size, (_point(seats[0]), _point(seats[1])), ("washer", end), "closing", hole))
    for (x, y), turned in zip(places.middles[list(places.keys)], places.turned, strict=True):
        z = 0.0 if ground is None else ground.level(float(x), float(y))
        here, there = ((second, -x, -z), (first, x, z)) if turned else ((first, x, z), (second, -x, -z))
        here[0].extend(_lifted([Feature(Role.KEY, _male(settings, here[1], y, places), add=True)], here[2]))
        there[0].extend(_lifted([Feature(Role.SOCKET, _female(settings, there[1], y, places), add=False)], there[2]))
        at = transform(np.array([[x, y, z]]), face_to_mold)[0]
        keys.append(
            Key(pair[::-1] if turned else pair, settings.flange.keys, _point(at), places.radius_mm, places.height_mm)
        )
    to_edge = float(settings.flange.width_mm or 0.0) - bolt_offset_mm(data)
    for slot in places.slots:
        z = 0.0 if ground is None else ground.level(slot[0], slot[1])
        first += _lifted([_pry_slot(slot, thickness, to_edge)], z)
    return Closing(tuple(first), tuple(second), tuple(bolts), tuple(keys))


def _lifted(features: list[Feature], by_mm: float) -> list[Feature]:
    """Features moved along z."""
    if by_mm == 0:
        return features
    up = np.eye(4)
    up[2, 3] = by_mm
    return [replace(f, shape=moved_shape(f.shape, up)) for f in features]


def _bore(x: float, y: float, r: float, low: float, high: float, through: bool, role: Role) -> Feature:
    return Feature(
        role, Frustum((float(x), float(y), low), (0.0, 0.0, 1.0), high - low, r, r), add=False, through=through
    )


def _nut_end(settings: Settings, data: BoltData, thickness: float) -> tuple[End, float]:
    """What stands at the second half's end, and how far its seat lies from the parting."""
    nut = settings.bolts.nut
    if nut == "pocket":
        left = thickness - data.nut_m_mm - NUT_PLAY_MM
        if left < 3.0:
            raise DesignError(
                f"bolts.nut = 'pocket': {left:.1f} mm of flange are left under an {data.size} nut. "
                f"Give flange.thickness_mm = {data.nut_m_mm + NUT_PLAY_MM + 3.0:.1f} or more, or nut = 'washer'."
            )
        return "pocket", left
    if nut == "insert":
        if data.insert is None:
            raise DesignError(
                f"bolts.nut = 'insert': no insert bore is tabulated for {data.size}. Use M4 to M6, or nut = 'washer'."
            )
        if data.insert.depth_mm > thickness - 1.0:
            raise DesignError(
                f"bolts.nut = 'insert': the bore for {data.size} is {data.insert.depth_mm:g} deep. "
                f"Give flange.thickness_mm = {data.insert.depth_mm + 1.0:g} or more."
            )
        return "insert", data.insert.depth_mm
    return "washer", thickness


def _nut_side(settings: Settings, data: BoltData, x: float, y: float, thickness: float, hole: float) -> list[Feature]:
    if settings.bolts.nut == "insert" and data.insert is not None:
        return [_bore(x, y, data.insert.bore_mm / 2, -1.0, data.insert.depth_mm, False, Role.INSERT)]
    out = [_bore(x, y, hole / 2, -1.0, thickness + 1.0, True, Role.BOLT_HOLE)]
    if settings.bolts.nut == "pocket":
        corner = (data.nut_s_mm + NUT_PLAY_MM) / np.sqrt(3.0)
        a = np.pi / 3 * np.arange(6)
        hexagon = tuple((float(x + corner * np.cos(t)), float(y + corner * np.sin(t))) for t in a)
        low = thickness - data.nut_m_mm - NUT_PLAY_MM
        shape = Prism(hexagon, (), (0.0, 0.0, low), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), data.nut_m_mm + NUT_PLAY_MM + 1.0)
        out.append(Feature(Role.POCKET, shape, add=False))
    return out


def _male(settings: Settings, x: float, y: float, key: Places) -> Frustum | Dome:
    down, lift = (0.0, 0.0, -1.0), 0.4
    if settings.flange.keys == "dome":
        return Dome((float(x), float(y), lift), down, key.radius_mm, key.height_mm + lift)
    slope = (key.radius_mm - key.tip_mm) / key.height_mm
    return Frustum((float(x), float(y), lift), down, key.height_mm + lift, key.radius_mm + slope * lift, key.tip_mm)


def _female(settings: Settings, x: float, y: float, key: Places) -> Frustum | Dome:
    up, lift, play = (0.0, 0.0, 1.0), 0.4, settings.flange.key_clearance_mm
    if settings.flange.keys == "dome":
        return Dome((float(x), float(y), -lift), up, key.radius_mm + play, key.height_mm + play + lift)
    slope = (key.radius_mm - key.tip_mm) / key.height_mm
    side = play * float(np.hypot(1.0, slope))
    return Frustum(
        (float(x), float(y), -lift),
        up,
        key.height_mm + play + lift,
        key.radius_mm + side + slope * lift,
        max(key.tip_mm + side - slope * play, 0.0),
    )


def _pry_slot(slot: Slot, thickness: float, to_edge: float) -> Feature:
    """A slot for a flat bar, in the first piece only."""
    x, y, out_x, out_y = slot
    deep, high = min(0.7 * to_edge, SLOT_HALF_MM), min(2.5, 0.35 * thickness)
    corners = [(-deep, -SLOT_HALF_MM), (3.0, -SLOT_HALF_MM), (3.0, SLOT_HALF_MM), (-deep, SLOT_HALF_MM)]
    ring = tuple((float(x + u * out_x - v * out_y), float(y + u * out_y + v * out_x)) for u, v in corners)
    shape = Prism(ring, (), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), high + 1.0)
    return Feature(Role.PRY_SLOT, shape, add=False)


def _point(p: FloatArray) -> tuple[float, float, float]:
    return (float(p[0]), float(p[1]), float(p[2]))
