"""What a starter job assumes about a pattern, from its size and shape alone: each assumption said in a sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from shellgen.job.defaults import bolt_size, crevice_mm, rubber_thickness_mm, wall_mm
from shellgen.job.model import Settings

SHORTEST_MM, LONGEST_MM = 10.0, 5000.0
GUESSED_LONGEST_MM = 200.0
FLAT_BASE_SHARE = 0.35
FEET_SHARE = 0.1
FLAT_ENOUGH_MM = 0.01
AXES = "xyz"
LEVEL_COSINE = math.cos(math.radians(10.0))
METRES_BY_FORMAT = (".glb", ".gltf")  # glTF 2.0, section 3.6: the unit of all linear distances is the metre, +y is up


@dataclass(frozen=True, slots=True)
class Assumption:
    """One thing assumed, such as "size", and what exactly."""

    topic: str
    says: str


@dataclass(frozen=True, slots=True)
class Base:
    """The pattern's flat underside. flat_share : of the pattern's shadow on the board, 0 to 1.

    uneven : how far it reaches above the lowest point, in the mesh file's numbers.
    """

    flat_share: float
    uneven: float


@dataclass(frozen=True, slots=True)
class Assumed:
    """Values for a job file by full key name, why, and the pattern's size in the mold frame."""

    chosen: Mapping[str, Any]
    why: tuple[Assumption, ...]
    size_mm: tuple[float, float, float]

    @property
    def settings(self) -> Settings:
        """The same as checked settings."""
        tables: dict[str, Any] = {}
        for key, value in self.chosen.items():
            table, _, leaf = key.rpartition(".")
            (tables.setdefault(table, {}) if table else tables)[leaf] = value
        return Settings.model_validate(tables)


def up_axis(suffix: str) -> Literal["+y", "+z"]:
    """The axis that points up in files of this kind: +z, but +y where the format's own standard says so."""
    return "+y" if suffix.lower() in METRES_BY_FORMAT else "+z"


def assume(
    *,
    name: str,
    file: str,
    suffix: str,
    size: tuple[float, float, float],
    base: Base,
    longest_mm: float | None = None,
) -> Assumed:
    """Choose unit, mount, plane, rubber, wall and bolt for a pattern nobody has said a word about.

    name : of the job. file : path to write as pattern.file. suffix : of the mesh file.
    size : the mesh's extents in the mold frame's axes (`up_axis` applied), in the file's numbers. longest_mm : of the
    pattern's sides as its owner measured it, None where nobody said.
    """
    chosen: dict[str, Any] = {"name": name, "pattern.file": file}
    factor, sizing, size_says = _sizing(suffix, max(size), longest_mm)
    chosen |= sizing
    size_mm = (size[0] * factor, size[1] * factor, size[2] * factor)
    up = up_axis(suffix)
    chosen["pattern.up"] = up
    kind, cut_mm, mount_says = _mount(base, factor)
    chosen |= {"mount.kind": kind, **({"mount.cut_mm": cut_mm} if cut_mm else {})}
    plane, plane_says = _plane(kind, size_mm)
    chosen["parting.plane"] = plane
    longest = max(size_mm)
    chosen["jacket.thickness_mm"] = rubber_thickness_mm(longest)
    chosen["jacket.crevice_mm"] = crevice_mm(longest)
    chosen["shell.wall_mm"] = wall_mm(longest)
    chosen["bolts.size"] = bolt_size(longest)
    shown = " x ".join(f"{side:.4g}" for side in size_mm)
    why = (
        Assumption("size", f"{size_says} That makes it {shown} mm."),
        Assumption("up", f"{up} of the file points up."),
        Assumption("mount", mount_says),
        Assumption("plane", plane_says),
        Assumption("rubber", f"{chosen['jacket.thickness_mm']:g} mm thick, brushed, for this size."),
        Assumption("wall", f"{chosen['shell.wall_mm']:g} mm thick, for this size."),
        Assumption("bolts", f"{chosen['bolts.size']}, usual for this size."),
    )
    return Assumed(chosen=chosen, why=why, size_mm=size_mm)


def following(assumed: Assumed, saved_cm3: float, share: float) -> Assumed:
    """The same with a parting that follows the silhouette, and why.

    saved_cm3 : rubber that this saves; share : of the whole jacket, 0 to 1.
    """
    says = (
        f"the mating face climbs and falls with the silhouette: that saves about {_rounded(saved_cm3)} cm3 of rubber, "
        f'{100 * share:.0f} % of the jacket. Give follow = "plane" for a flat face.'
    )
    place = next(k for k, why in enumerate(assumed.why) if why.topic == "plane") + 1
    why = (*assumed.why[:place], Assumption("follow", says), *assumed.why[place:])
    return replace(assumed, chosen={**assumed.chosen, "parting.follow": "silhouette"}, why=why)


def _rounded(value: float) -> str:
    """Three figures, without a power of ten."""
    return f"{value:.3g}" if value < 100 else f"{value:.0f}"


def _sizing(suffix: str, longest: float, longest_mm: float | None) -> tuple[float, dict[str, Any], str]:
    """Millimetres per number of the file, the keys that say so, and a sentence."""
    if longest_mm is not None:
        sizing = {"pattern.units": "mm", "pattern.longest_side_mm": longest_mm}
        return longest_mm / longest, sizing, f"The longest side is {longest_mm:g} mm, as you said."
    if suffix.lower() in METRES_BY_FORMAT and SHORTEST_MM <= longest * 1000 <= LONGEST_MM:
        return 1000.0, {"pattern.units": "m"}, "The file's numbers are metres, as its format says."
    if SHORTEST_MM <= longest <= LONGEST_MM:
        return 1.0, {"pattern.units": "mm"}, "The file's numbers are mm."
    how = "small" if longest < SHORTEST_MM else "large"
    units = [(f'"{unit}"', longest * mm) for unit, mm in (("in", 25.4), ("m", 1000.0)) if 20 <= longest * mm <= 3000]
    others = " or ".join(f"units = {unit} ({length:.0f} mm)" for unit, length in units)
    return (
        GUESSED_LONGEST_MM / longest,
        {"pattern.units": "mm", "pattern.longest_side_mm": GUESSED_LONGEST_MM},
        f"CHECK THIS: the longest side is {longest:.4g} in the file's numbers, too {how} for mm, and its unit is "
        f"not known, so the longest side is set to {GUESSED_LONGEST_MM:g} mm. Measure the pattern and "
        "start again with --longest-side-mm, so that rubber, wall and bolts suit it; or give longest_side_mm"
        f"{f', or in its place {others}' if others else ''}.",
    )


def _mount(base: Base, factor: float) -> tuple[str, float, str]:
    """Kind of mount, height to cut flat at [mm], and a sentence."""
    percent = f"{100 * base.flat_share:.0f} %"
    if base.flat_share < FLAT_BASE_SHARE:
        feet = ' One that stands flat on its feet, such as an arch, may take kind = "board".'
        return (
            "none",
            0.0,
            f"none, a closed jacket with a port through the shell: only {percent} of its shadow is a flat base. "
            'A body that can stand on a neck may take kind = "stem".' + (feet if base.flat_share >= FEET_SHARE else ""),
        )
    cut_mm = math.ceil(base.uneven * factor * 100) / 100 if base.uneven * factor > FLAT_ENOUGH_MM else 0.0
    cut = f" It is uneven, so it is cut flat at {cut_mm:g} mm." if cut_mm else ""
    return "board", cut_mm, f"board: {percent} of its shadow is a flat base at the very bottom.{cut}"


def _plane(kind: str, size_mm: tuple[float, float, float]) -> tuple[dict[str, Any], str]:
    """The plane across the direction of least extent; upright where the pattern stands on a board."""
    axes = (0, 1) if kind == "board" else (1, 0, 2)
    axis = min(axes, key=lambda index: round(size_mm[index], 6))
    least = f"the shell opens along {AXES[axis]}, where the pattern is thinnest"
    if kind == "board":
        return {"angle_deg": (0, 90)[axis]}, f"upright, through the middle; {least} of the two level directions."
    normal = [1 if index == axis else 0 for index in range(3)]
    return {"normal": normal}, f"through the middle; {least} ({size_mm[axis]:.4g} mm)."


def flat_base_unevenness(vertices: npt.NDArray[np.float64], faces: npt.NDArray[np.int32]) -> float:
    """How far above the lowest point nine tenths of the level area at the very bottom reach, in the mesh's unit.

    vertices : (n, 3), +z up. faces : (m, 3). Level: within 10 degrees, all corners in the lowest 0.5 % of the height.
    """
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    low, high = float(corners[:, :, 2].min()), float(corners[:, :, 2].max())
    top = corners[:, :, 2].max(axis=1)
    level = (top <= low + 0.005 * (high - low)) & (np.abs(normal[:, 2]) >= LEVEL_COSINE * area) & (area > 0)
    if not level.any():
        return 0.0
    order = np.argsort(top[level], kind="stable")
    reached = np.cumsum(area[level][order])
    return float(top[level][order][np.searchsorted(reached, 0.9 * reached[-1])] - low)
