"""A job file read into checked settings, or one error that says all that is wrong with it."""

from __future__ import annotations

import datetime
import difflib
import json
import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from shellgen.errors import JobError
from shellgen.job.complaint import complaints
from shellgen.job.model import Settings
from shellgen.job.rules import RESERVED_NAMES, broken_rules

MOST_COMPLAINTS = 5
LARGEST_FILE_BYTES = 1_000_000
MESH_SUFFIXES = (".stl", ".obj", ".ply", ".3mf", ".glb", ".gltf", ".off", ".step", ".stp")


@dataclass(frozen=True, slots=True)
class Job:
    """What the user asks for, and where: paths in the settings are relative to `base`, the job file's folder."""

    settings: Settings
    path: Path

    @property
    def base(self) -> Path:
        """The folder that holds the job file."""
        return self.path.parent


def read_job(path: str | Path) -> Job:
    """Read a job file (TOML) and check every key, alone and against the others.

    Where the file gives no `name`, the job is named after the file. Defaults that depend on the pattern stay open.
    Raises JobError, and nothing else, for any file: one line for each wrong key, five at most.
    """
    path = Path(path)
    data = _parsed(path.name, _text(path))
    if "name" not in data:
        data = {"name": name_from(path.stem), **data}
    try:
        settings = Settings.model_validate_json(json.dumps(data), strict=True)
        sentences = broken_rules(settings)
    except ValidationError as error:
        sentences = complaints(data, error.errors(include_url=False))
    if sentences:
        raise JobError(_listed(path.name, sentences))
    return Job(settings=settings, path=path)


def _listed(name: str, sentences: list[str]) -> str:
    lines = [f"{name}: {sentence}" for sentence in sentences[:MOST_COMPLAINTS]]
    rest = len(sentences) - len(lines)
    return "\n".join([*lines, f"{name}: and {rest} more."] if rest else lines)


def _text(path: Path) -> str:
    try:
        if not path.exists():
            raise JobError(_missing(path))
        if path.is_dir():
            raise JobError(f"{path}: is a folder. Give the job file in it, such as {path / 'job.toml'}.")
        if path.suffix.lower() in MESH_SUFFIXES:
            raise JobError(f"{path.name}: is a mesh, not a job file. Make one with: shellgen start {path}")
        if not path.is_file() or path.stat().st_size > LARGEST_FILE_BYTES:
            raise JobError(f"{path.name}: is not a job file: it should be a text file of a few kilobytes.")
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise JobError(f"{path.name}: is not UTF-8 text (byte {error.start}). Save it again as UTF-8.") from None
    except (OSError, ValueError) as error:
        raise JobError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}.") from None


def _missing(path: Path) -> str:
    if not path.parent.is_dir():
        return f"{path}: not found: there is no folder {path.parent}."
    stems = sorted(entry.stem for entry in path.parent.iterdir() if entry.suffix.lower() == ".toml")
    near = difflib.get_close_matches(path.name.removesuffix(".toml"), stems, 1, 0.5)
    if near:
        return f"{path}: not found. Did you mean {path.parent / near[0]}.toml?"
    return f"{path}: not found. Make a job file for a mesh with: shellgen start MESH"


def _parsed(name: str, text: str) -> dict[str, Any]:
    try:
        return {key: _plain(value) for key, value in tomllib.loads(text).items()}
    except tomllib.TOMLDecodeError as error:
        raise JobError(_syntax(name, text, str(error))) from None
    except RecursionError:
        raise JobError(f"{name}: is nested too deep for a job file.") from None
    except ValueError:
        raise JobError(f"{name}: is not TOML: a number or a date in it is out of all range.") from None


def _syntax(name: str, text: str, said: str) -> str:
    what, _, where = said.partition(" (at ")
    match = re.search(r"line (\d+), column (\d+)", where)
    line = int(match[1]) if match else len(text.splitlines())
    place = f"line {line}, column {match[2]}" if match else "the end of the file"
    written = text.splitlines()[line - 1].strip() if 0 < line <= len(text.splitlines()) else ""
    hint = "" if match else f" A value is missing, or a bracket or quote left open, in line {line} or before it."
    if "\\" in written and "'" not in written:
        hint = " In a path write / instead of \\."
    elif match and "=" in written and '"' not in written and "Invalid value" in what:
        hint = ' A text needs quotes: key = "text".'
    return f"{name}: {place}: not TOML: {what[:1].lower()}{what[1:]}.{hint}"


def _plain(value: Any) -> Any:
    """A TOML value as JSON can hold it: dates as text, whole numbers out of range as infinity."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**18:
        return math.inf if value > 0 else -math.inf
    return value


def name_from(stem: str) -> str:
    """A job's name from a file's name without its ending: what a name cannot hold becomes "-".

    >>> name_from("Glocke (2)")
    'Glocke -2'
    """
    name = re.sub(r"[^A-Za-z0-9 ._-]+", "-", stem).strip(" ._-")[:60].strip(" ._-") or "job"
    return f"{name}-job" if name.lower() in RESERVED_NAMES else name
