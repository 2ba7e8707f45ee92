"""A job's joint: its section, bolts and loads from the settings and the pattern. N, mm, MPa.

The same functions serve the report, `bolts.pitch_mm = "auto"` and the coupon, so they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from shellgen.envelope.raster import Envelope
from shellgen.job.defaults import WASHER_TO_WALL_MM
from shellgen.job.model import Settings
from shellgen.parting.surface import Parting
from shellgen.pattern.pattern import Pattern
from shellgen.shop.joint.loads import JointLoads, head_pressure_mpa, squeeze_mpa, weight_n
from shellgen.shop.joint.report import auto_pitch_mm
from shellgen.shop.joint.seat import End
from shellgen.shop.joint.section import Flange, JointSection
from shellgen.shop.joint.tighten import Tightening
from shellgen.standards.fasteners import BoltData, HeadKind, WasherKind, bolt
from shellgen.standards.figures import figure
from shellgen.standards.materials import material


@dataclass(frozen=True, slots=True)
class JointOptions:
    """What a job file does not say. None stands for the tables' value.

    modulus_mpa : of the shell, measured on a coupon. limit_mm : opening that still casts clean. squeeze_mm : how much
    the jacket is too thick for its room. resin_g_cm3 : density of the resin. kept : part of the preload that stays.
    """

    modulus_mpa: float | None = None
    limit_mm: float | None = None
    squeeze_mm: float | None = None
    resin_g_cm3: float | None = None
    kept: float | None = None
    washer: WasherKind = "plain"
    head: HeadKind = "hex"
    thread: str = "unknown"


def job_bolt(settings: Settings) -> BoltData:
    """The job's bolt; `settings` with its defaults filled in."""
    return bolt(str(settings.bolts.size))


def job_flange(settings: Settings, piece: str, options: JointOptions) -> Flange:
    """The flange of one piece. Gussets are as high as the flange is wide; pieces of a list of planes have none."""
    stuff = material(settings.shell.material)
    own = settings.pieces.get(piece)
    wall = (own.wall_mm if own is not None else None) or settings.shell.wall_mm
    width = float(settings.flange.width_mm or 0.0)
    return Flange(
        width_mm=width,
        thickness_mm=float(settings.flange.thickness_mm or 0.0),
        wall_mm=wall,
        modulus_mpa=options.modulus_mpa or settings.shell.modulus_mpa or stuff.modulus_mpa,
        bearing_mpa=stuff.bearing_mpa,
        web_mm=width if settings.flange.gussets and settings.parting.kind != "planes" else 0.0,
    )


def job_section(
    settings: Settings, pair: tuple[str, str], options: JointOptions, heel_mm: float | None = None
) -> JointSection:
    """The joint of two pieces. heel_mm : bolt axis to flange edge; by default the washer just clears the wall."""
    first, second = (job_flange(settings, name, options) for name in pair)
    if heel_mm is None:
        heel_mm = first.width_mm - job_bolt(settings).washer_od_mm / 2.0 - WASHER_TO_WALL_MM
    return JointSection(first, second, min(first.face_mm, second.face_mm) - heel_mm)


def job_tightening(settings: Settings, options: JointOptions) -> Tightening:
    """How the job's closing bolts are driven."""
    second = cast(End, settings.bolts.nut)
    return Tightening(
        ends=("washer", second),
        hole_mm=job_bolt(settings).hole_mm[settings.bolts.fit],
        washer=options.washer,
        head=options.head,
        torque_nm=settings.bolts.torque_nm,
        thread=options.thread,
        kept=options.kept,
    )


def job_loads(
    settings: Settings, pattern: Pattern, *, area_mm2: float, seam_mm: float, options: JointOptions
) -> JointLoads:
    """Loads on the closing seams.

    area_mm2 : room of the jacket seen along the pull. seam_mm : length of flange between the first and last bolts.
    The worse of two liquids: resin as deep as the pattern is long, in any pose; poured rubber as deep as it stands.
    Hanging weight: a solid cast, the jacket, and one shell piece, the last two from the pattern's area.
    """
    rubber, shell = material("silicone"), material(settings.shell.material)
    resin = material("casting-resin").density_g_cm3 if options.resin_g_cm3 is None else options.resin_g_cm3
    jacket = settings.jacket
    pressures = [head_pressure_mpa(resin, longest_mm(pattern.vertices_mm))]
    if jacket.method == "pour":
        upright = float(np.ptp(pattern.bounds_mm[:, 2])) + jacket.thickness_mm
        pressures.append(head_pressure_mpa(rubber.density_g_cm3, upright))
    squeeze = options.squeeze_mm
    if squeeze is None:
        clear = jacket.clearance_mm or 0.0
        squeeze = 0.0 if jacket.method == "pour" else max(0.0, figure("brush variation") - clear)
    skin = _area_mm2(pattern.skin.vertices_mm, pattern.skin.faces)
    mass = pattern.skin.volume_mm3 * resin / 1000.0
    mass += skin * jacket.thickness_mm * rubber.density_g_cm3 / 1000.0
    mass += skin / 2.0 * settings.shell.wall_mm * shell.density_g_cm3 / 1000.0
    return JointLoads(
        pressure_mpa=max(pressures),
        squeeze_mpa=squeeze_mpa(modulus_mpa=rubber.modulus_mpa, squeeze_mm=squeeze, thickness_mm=jacket.thickness_mm),
        weight_n=weight_n(mass),
        area_mm2=area_mm2,
        seam_mm=seam_mm,
    )


def job_pitch_mm(
    settings: Settings,
    pattern: Pattern,
    *,
    pair: tuple[str, str],
    area_mm2: float,
    seam_mm: float,
    options: JointOptions | None = None,
) -> float:
    """The pitch [mm] for `bolts.pitch_mm = "auto"`; arguments as in `job_loads`.

    It holds without gussets too: which gaps have room for one shows only when the bolts are placed. Raises
    DesignError where no pitch holds, with what to change.
    """
    options = options or JointOptions()
    bare = settings.model_copy(update={"flange": settings.flange.model_copy(update={"gussets": False})})
    return auto_pitch_mm(
        job_section(bare, pair, options),
        job_bolt(settings),
        job_loads(settings, pattern, area_mm2=area_mm2, seam_mm=seam_mm, options=options),
        how=job_tightening(settings, options),
        limit_mm=job_limit_mm(settings, options),
    )


def job_limit_mm(settings: Settings, options: JointOptions) -> float | None:
    """The job's flash limit [mm], None for the usual one."""
    return options.limit_mm or settings.bolts.flash_limit_mm


def pressed_area_mm2(rooms: Iterable[tuple[Envelope, Parting]]) -> float:
    """Plan area [mm2] in which the jacket's room stands above the parting: the largest of the pieces'."""
    areas = [0.0]
    for room, parting in rooms:
        x, y = np.meshgrid(room.grid.x_mm, room.grid.y_mm)
        areas.append(float(np.count_nonzero(room.heights_mm > parting.at(x, y))) * room.grid.pitch_mm**2)
    return max(areas)


def longest_mm(points_mm: NDArray[np.float64]) -> float:
    """Greatest distance between two points (n, 3), within 1 %: sought among the extremes along 150 directions."""
    k = np.arange(150) + 0.5
    z = 1.0 - k / 150.0  # a half sphere of directions, evenly spread on a spiral
    turn = np.pi * (1.0 + 5.0**0.5) * k
    r = np.sqrt(1.0 - z**2)
    directions = np.stack([r * np.cos(turn), r * np.sin(turn), z])
    extremes: list[int] = []
    for direction in directions.T:
        along = points_mm @ direction
        extremes += [int(along.argmin()), int(along.argmax())]
    far = points_mm[sorted(set(extremes))]
    return float(np.sqrt(((far[:, None] - far[None]) ** 2).sum(axis=2).max()))


def _area_mm2(vertices: NDArray[np.float64], faces: NDArray[np.int32]) -> float:
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2.0
