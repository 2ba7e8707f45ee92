"""Take a pattern in: from the job's settings to a mesh in the mold frame with its closed skin."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from shapely.geometry import MultiPolygon

from shellgen.errors import PatternError
from shellgen.job.model import Settings
from shellgen.pattern.board import stand_on_board
from shellgen.pattern.clip import clipped
from shellgen.pattern.demo import make_demo
from shellgen.pattern.load import RawMesh, load
from shellgen.pattern.orient import file_to_mold, moved, snapped, turning
from shellgen.pattern.pattern import Pattern
from shellgen.pattern.skin import closed_skin, skin_of
from shellgen.pattern.stem import place_stem, stem_length_mm
from shellgen.pattern.weld import Welded, weld


def take_in(settings: Settings, base: Path) -> Pattern:
    """Read, orient, mend and mount the job's pattern; `pattern.file` is relative to the folder `base`.

    Raises PatternError, saying what to change, for everything that cannot be used.
    """
    raw = _raw(settings, base)
    welded = weld(raw.vertices, raw.faces)
    if not len(welded.faces):
        raise PatternError(f"{raw.source}: all its triangles have collapsed to points or lines. Export the mesh again.")
    mount = settings.mount
    matrix = file_to_mold(settings.pattern, welded.vertices, raw.source)
    height = float(np.ptp(moved(welded.vertices, matrix)[:, 2]))
    matrix[2, 3] += {"board": -mount.cut_mm, "stem": stem_length_mm(mount, height), "none": 0.0}[mount.kind]
    vertices = snapped(moved(welded.vertices, matrix))
    mirrored = np.linalg.det(turning(settings.pattern)) < 0
    faces = np.ascontiguousarray(welded.faces[:, [0, 2, 1]]) if mirrored else welded.faces
    closed = closed_skin(vertices, welded, faces, raw.source, board=mount.kind == "board")
    vertices, faces, opening = closed.vertices, closed.faces, MultiPolygon()
    notes = [*_weld_notes(welded), *closed.notes]
    if mount.kind == "board":
        vertices, faces = clipped(vertices, faces)
        closed, opening, said = stand_on_board(closed, (vertices, faces), mount.cut_mm, raw.source)
        notes += said
    elif mount.kind == "stem":
        free = closed.as_solid()
        stem = place_stem(mount, free, vertices, faces, raw.source)
        closed = closed.with_solid(stem.joined(free, raw.source))
        opening = stem.disc()
        more, turned = stem.triangles()
        vertices, faces = np.vstack([vertices, more]), np.vstack([faces, turned + np.int32(len(vertices))])
        notes.append(stem.says())
    elif (sunk := float(vertices[:, 2].min())) < 0:  # a sheet's skin is thicker than the sheet
        vertices = vertices - [0.0, 0.0, sunk]
        matrix[2, 3] -= sunk
        closed = closed.with_solid(closed.as_solid().translate((0.0, 0.0, -sunk)))
    skin = skin_of(closed)
    vertices, faces = np.ascontiguousarray(vertices), np.ascontiguousarray(faces, np.int32)
    return Pattern(vertices, faces, skin, mount.kind, opening, matrix, raw.source, raw.sha256, tuple(notes))


def _raw(settings: Settings, base: Path) -> RawMesh:
    asked = settings.pattern
    if (asked.file is None) == (asked.demo is None):
        both = "both" if asked.file else "neither"
        raise PatternError(f"The job gives {both} of pattern.file and pattern.demo. Give one of them.")
    if asked.file:
        return load(base / asked.file)
    vertices, faces = make_demo(asked.demo or "")
    return RawMesh(vertices, faces, hashlib.sha256(vertices.tobytes()).hexdigest(), f"demo {asked.demo}")


def _weld_notes(welded: Welded) -> list[str]:
    notes = []
    if welded.collapsed:
        notes.append(f"{welded.collapsed} collapsed triangles dropped.")
    if welded.copies:
        notes.append(f"{welded.copies} doubled triangles dropped.")
    return notes
