"""What the keys of a job file must be to one another: each rule one sentence when it is broken."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from string import ascii_uppercase

from shellgen.job.complaint import shown
from shellgen.job.model import ClearSettings, PlaneSettings, Settings
from shellgen.standards.materials import material_names

RESERVED_NAMES = ("readme.md", "gallery")


def broken_rules(settings: Settings) -> list[str]:
    """Sentences about keys that do not fit together, the first key named first; empty when all do."""
    rules = (_name, _pattern, _mount, _parting, _material, _flange, _pieces, _limits)
    return [sentence for rule in rules for sentence in rule(settings)]


def _name(settings: Settings) -> Iterator[str]:
    if settings.name.lower() in RESERVED_NAMES:
        yield f"name = {shown(settings.name)}: outputs/{settings.name} is kept for the project. Choose another name."
    elif settings.name.endswith((".", " ")):
        yield f"name = {shown(settings.name)}: a folder's name cannot end so. Drop the last character."


def _pattern(settings: Settings) -> Iterator[str]:
    pattern = settings.pattern
    if pattern.file is not None and pattern.demo is not None:
        yield "pattern.file and pattern.demo are both given: a job has one pattern. Drop one of the two."
    if pattern.file is None and pattern.demo is None:
        yield 'pattern.file: missing. Give the mesh, such as file = "finial.stl", or demo = "gate-finial".'
    if pattern.file is not None and not pattern.file.strip():
        yield 'pattern.file = "": empty. Give the mesh, such as file = "finial.stl".'
    if pattern.longest_side_mm is not None and pattern.scale != 1.0:
        yield (
            f"pattern.scale = {pattern.scale:g} and pattern.longest_side_mm = {pattern.longest_side_mm:g}: "
            "both set the size. Drop one of the two."
        )
    if pattern.longest_side_mm is not None and pattern.units != "mm":
        yield (
            f'pattern.units = "{pattern.units}" and pattern.longest_side_mm = {pattern.longest_side_mm:g}: '
            "both set the size. Drop one of the two."
        )


def _mount(settings: Settings) -> Iterator[str]:
    mount = settings.mount
    if mount.cut_mm > 0 and mount.kind != "board":
        yield (
            f'mount.cut_mm = {mount.cut_mm:g}: only a pattern on a board is cut flat, and mount.kind = "{mount.kind}". '
            'Drop it, or give kind = "board".'
        )


def _parting(settings: Settings) -> Iterator[str]:
    parting = settings.parting
    if parting.kind == "planes" and not parting.planes:
        yield 'parting.kind = "planes" needs planes. Give planes = [{normal = [1, 0, 0]}], or kind = "plane".'
    if parting.planes and parting.kind != "planes":
        yield (
            f'parting.planes: given, but parting.kind = "{parting.kind}" does not read it. '
            'Give kind = "planes", or drop the list.'
        )
    if parting.kind == "planes" and parting.follow != "plane":
        yield (
            f'parting.follow = "{parting.follow}": only two halves follow the silhouette, and parting.kind = "planes". '
            'Give kind = "plane", or drop follow.'
        )
    if parting.keep_clear and parting.kind != "plane":
        yield (
            f'parting.keep_clear: given, but parting.kind = "{parting.kind}" does not read it. '
            'Give kind = "plane", or drop the list.'
        )
    for number, place in enumerate(parting.keep_clear, 1):
        if isinstance(place, ClearSettings) and any(a >= b for a, b in zip(place.low_mm, place.high_mm, strict=True)):
            yield (
                f"parting.keep_clear[{number}]: low_mm = {shown(place.low_mm)} is not below high_mm = "
                f"{shown(place.high_mm)} in x, y and z. Give the lowest corner first."
            )
    if isinstance(parting.plane, PlaneSettings):
        yield from _plane("parting.plane", parting.plane)
        yield from _upright(settings, parting.plane)
    for index, plane in enumerate(parting.planes):
        yield from _plane(f"parting.planes[{index + 1}]", plane)
        yield from _square(settings, f"parting.planes[{index + 1}]", plane)


def _plane(name: str, plane: PlaneSettings) -> Iterator[str]:
    if plane.normal is not None and plane.angle_deg is not None:
        yield f"{name}: both normal and angle_deg are given. Drop one of the two."
    if plane.normal is None and plane.angle_deg is None:
        yield f"{name}: no direction. Give normal = [x, y, z] or angle_deg = 0."
    if plane.normal is not None and not all(map(math.isfinite, plane.normal)):
        yield f"{name}.normal = {shown(plane.normal)}: must be three finite numbers [x, y, z]."
    elif plane.normal is not None and math.hypot(*plane.normal) < 1e-9:
        yield f"{name}.normal = {shown(plane.normal)}: points nowhere. Give a direction, such as [1, 0, 0]."


def _upright(settings: Settings, plane: PlaneSettings) -> Iterator[str]:
    if settings.mount.kind == "none" or settings.parting.kind != "plane" or plane.normal is None:
        return
    x, y, z = plane.normal
    if math.isfinite(x + y + z) and abs(z) > 1e-6 * max(math.hypot(x, y, z), 1e-9):
        upright = [round(x, 6), round(y, 6), 0] if math.hypot(x, y) > 1e-6 else [1, 0, 0]
        yield (
            f"parting.plane.normal = {shown(plane.normal)}: on a {settings.mount.kind} the plane must stand upright, "
            f'so z must be 0. Give {shown(upright)} or an angle_deg, or mount.kind = "none".'
        )


def _square(settings: Settings, name: str, plane: PlaneSettings) -> Iterator[str]:
    """On a board or stem a plane of the list stands upright or lies level."""
    if settings.mount.kind == "none" or plane.normal is None or not all(map(math.isfinite, plane.normal)):
        return
    x, y, z = plane.normal
    across, size = math.hypot(x, y), math.hypot(x, y, z)
    if size > 1e-9 and min(across, abs(z)) > 1e-6 * size:
        near = [round(x, 6), round(y, 6), 0] if across >= abs(z) else [0, 0, 1 if z > 0 else -1]
        yield (
            f"{name}.normal = {shown(plane.normal)}: on a {settings.mount.kind} each plane must stand upright or lie "
            f'level, so that pieces leave level or upwards. The nearest is {shown(near)}; or give mount.kind = "none".'
        )


def _material(settings: Settings) -> Iterator[str]:
    name, names = settings.shell.material, material_names("shell")
    if name not in names:
        near = difflib.get_close_matches(name.lower(), names, 1, 0.4)
        hint = f' Did you mean "{near[0]}"?' if near else ""
        yield f"shell.material = {shown(name)}: must be one of {', '.join(names)}.{hint}"


def _flange(settings: Settings) -> Iterator[str]:
    walls = {"shell.wall_mm": settings.shell.wall_mm}
    walls |= {f"pieces.{name}.wall_mm": piece.wall_mm for name, piece in settings.pieces.items() if piece.wall_mm}
    key, wall = max(walls.items(), key=lambda item: item[1])
    thickness = settings.flange.thickness_mm
    if thickness is not None and thickness < wall:
        yield (
            f"flange.thickness_mm = {thickness:g}: thinner than the wall, {key} = {wall:g}. "
            f"Give {wall:g} or more, or a thinner wall."
        )


def _pieces(settings: Settings) -> Iterator[str]:
    parting = settings.parting
    count = {"plane": 2, "radial": parting.pieces, "planes": len(parting.planes) + 1}[parting.kind]
    letters = ascii_uppercase[:count]
    for name in settings.pieces:
        if len(name) != 1 or name not in letters:
            yield f"pieces.{name}: no such piece. The pieces of this job are {letters[0]} to {letters[-1]}."
    for name, piece in settings.pieces.items():
        if piece.pull is None:
            continue
        if parting.kind != "planes":
            yield (
                f'pieces.{name}.pull: given, but parting.kind = "{parting.kind}" does not read it. '
                'Give kind = "planes", or drop the pull.'
            )
        elif not all(map(math.isfinite, piece.pull)) or math.hypot(*piece.pull) < 1e-9:
            yield f"pieces.{name}.pull = {shown(piece.pull)}: points nowhere. Give a direction, such as [1, 0, 0]."


def _limits(settings: Settings) -> Iterator[str]:
    bed = settings.limits.bed_mm
    if bed is not None and not all(side > 0 and math.isfinite(side) for side in bed):
        yield f"limits.bed_mm = {shown(bed)}: must be three numbers above 0 [x, y, z]."
