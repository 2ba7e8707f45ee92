"""Load a mesh file of any common format as plain triangles, in the file's own numbers."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray

MOST_TRIANGLES = 20_000_000
KNOWN = (".stl", ".obj", ".ply", ".3mf", ".glb", ".off", ".step", ".stp")


@dataclass(frozen=True, slots=True, eq=False)
class RawMesh:
    """Triangles as they stand in a file.

    vertices : (n, 3) float64 in the file's numbers, after its own scene transforms. faces : (m, 3) int32.
    sha256 : of the file's bytes. source : the file's name.
    """

    vertices: FloatArray
    faces: IntArray
    sha256: str
    source: str


def load(path: Path) -> RawMesh:
    """Read STL, OBJ, PLY, 3MF, GLB, OFF or STEP.

    Raises PatternError, saying what to change, if the file is missing, empty, unreadable or of another kind; if it
    holds no triangles, more than 20 million, numbers that are not finite, or faces that name vertices it lacks.
    """
    path = Path(path)
    source, suffix = path.name, path.suffix.lower()
    if suffix not in KNOWN:
        raise PatternError(f"{source}: '{path.suffix}' is no mesh format known here. Use one of {', '.join(KNOWN)}.")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise PatternError(f"{path}: no such file. Check pattern.file; it is relative to the job file.") from None
    except OSError as cause:
        raise PatternError(f"{path}: cannot be read ({cause.strerror}). Check the file and its permissions.") from cause
    if not data.strip(b" \t\r\n\0"):
        raise PatternError(f"{source}: the file is empty. Export the mesh again.")
    try:
        vertices, faces = _reader(suffix)(data, path)
    except MemoryError as cause:
        raise PatternError(f"{source}: too large to read. Reduce the mesh to under 20 million triangles.") from cause
    _validate(vertices, faces, source)
    return RawMesh(vertices, faces, hashlib.sha256(data).hexdigest(), source)


def _reader(suffix: str) -> Callable[[bytes, Path], tuple[FloatArray, IntArray]]:
    return {".stl": _stl, ".ply": _ply, ".obj": _obj, ".step": _step, ".stp": _step}.get(suffix, _scene)


def _stl(data: bytes, path: Path) -> tuple[FloatArray, IntArray]:
    from shellgen.pattern.stl_file import read_stl

    return read_stl(data, path.name)


def _ply(data: bytes, path: Path) -> tuple[FloatArray, IntArray]:
    from shellgen.pattern.ply_file import read_ply

    return read_ply(data, path.name) or _scene(data, path)


def _obj(data: bytes, path: Path) -> tuple[FloatArray, IntArray]:
    from shellgen.pattern.obj_file import read_obj

    return read_obj(data, path.name)


def _step(_: bytes, path: Path) -> tuple[FloatArray, IntArray]:
    from shellgen.pattern.step_file import read_step

    return read_step(path)


def _scene(data: bytes, path: Path) -> tuple[FloatArray, IntArray]:
    """Every other format, and unusual PLY layouts, through trimesh; the parts of a scene where it puts them."""
    import trimesh

    kind = path.suffix.lower()[1:]
    try:
        mesh = trimesh.load(io.BytesIO(data), file_type=kind, force="mesh", process=False)
        vertices, faces = np.asarray(mesh.vertices, np.float64), np.asarray(mesh.faces, np.int64)
    except Exception as cause:
        said = f"{type(cause).__name__}: {cause}".splitlines()[0][:120]
        raise PatternError(f"{path.name}: cannot be read as {kind.upper()} ({said}). Export it again.") from cause
    return vertices.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32)


def _validate(vertices: FloatArray, faces: IntArray, source: str) -> None:
    if len(faces) == 0:
        points = f" ({len(vertices)} points without faces)" if len(vertices) else ""
        raise PatternError(f"{source}: no triangles{points}. Export a surface mesh, not points or curves.")
    if len(faces) > MOST_TRIANGLES:
        raise PatternError(
            f"{source}: {len(faces):,} triangles, more than {MOST_TRIANGLES:,}. Reduce the mesh; 1 million is plenty."
        )
    low, high = int(faces.min()), int(faces.max())
    if low < 0 or high >= len(vertices):
        wrong = low if low < 0 else high
        last = len(vertices) - 1
        raise PatternError(f"{source}: a face names vertex {wrong}, the file has 0 to {last}. Export it again.")
    total = float(np.abs(vertices).sum())
    if not np.isfinite(total):
        where = int(np.flatnonzero(~np.isfinite(vertices).all(axis=1))[0])
        values = ", ".join(f"{value:g}" for value in vertices[where])
        raise PatternError(f"{source}: vertex {where} is ({values}), not a place. Mend or export the mesh again.")
