"""Sentences about wrong keys of a job file: which key, its value, what it takes, what to change."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from typing import Any

from shellgen.job.keys import Key, clear_keys, job_keys, piece_keys, plane_keys, split_keys, table_meanings

SHOWN_CHARACTERS = 60


def shown(value: object) -> str:
    """A value as the job file would write it, cut to sixty characters.

    >>> shown([0, 0.5, "a", True])
    '[0, 0.5, "a", true]'
    """
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{_printable(value)}"'
    elif isinstance(value, (list, tuple)):
        text = f"[{', '.join(shown(item) for item in value[:12])}]"
    elif isinstance(value, Mapping):
        pairs = list(value.items())[:6]
        text = "{" + ", ".join(f"{_printable(str(key))} = {shown(item)}" for key, item in pairs) + "}"
    else:
        text = str(value).removesuffix(".0")
    return text if len(text) <= SHOWN_CHARACTERS else text[: SHOWN_CHARACTERS - 3] + "..."


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text[:SHOWN_CHARACTERS])


def trail(data: object, loc: Iterable[int | str]) -> list[tuple[str, object]]:
    """Follow a validation error's location through the file's data: each key's full name and what it holds.

    Steps the validator adds of its own, such as the branch of a choice of types, are left out.
    Numbers in a list count from 1: `parting.planes[1].normal`.
    """
    found: list[tuple[str, object]] = []
    name = ""
    for step in loc:
        if isinstance(data, dict) and step in data:
            name = f"{name}.{_printable(str(step))}".removeprefix(".")
            data = data[step]
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            name = f"{name}[{step + 1}]"
            data = data[step]
        else:
            continue
        found.append((name, data))
    return found


def _known(name: str) -> tuple[Key, ...]:
    """All keys near a wrong one: those of pieces, planes and boxes under the names the file uses."""
    found = job_keys()
    if name.startswith("pieces.") and name.count(".") == 2:
        found = (*piece_keys(name.rpartition(".")[0]), *found)
    if name.startswith("parting.plane.") and name.count(".") == 2:
        found = (*plane_keys(name.rpartition(".")[0]), *found)
    if name.startswith("parting.planes[") and name.count(".") == 2:
        found = (*split_keys(name.rpartition(".")[0]), *found)
    if name.startswith("parting.keep_clear[") and name.count(".") == 2:
        found = (*clear_keys(name.rpartition(".")[0]), *found)
    return found


def find_key(name: str) -> Key | None:
    """The known key of this name."""
    return next((key for key in _known(name) if key.dotted == name), None)


def unknown_key(name: str) -> str:
    """Sentence about a key that no job file has, with the nearest that one may have."""
    names = [key.dotted for key in _known(name)]
    table, _, leaf = name.rpartition(".")
    near = difflib.get_close_matches(name, [known for known in names if known.rpartition(".")[2] == leaf], 2, 0.0)
    near = near or difflib.get_close_matches(name, names if table else ["name", *table_meanings()], 1, 0.7)
    near = near or difflib.get_close_matches(name, names, 1, 0.7)
    if near:
        return f"{name}: unknown key. Did you mean {' or '.join(near)}?"
    siblings = [known.rpartition(".")[2] for known in names if known.rpartition(".")[0] == table]
    if table and siblings:
        return f"{name}: unknown key. [{table}] takes {', '.join(siblings)}."
    return f"{name}: unknown key. The tables of a job file are {', '.join([*table_meanings(), 'pieces'])}."


def wrong_value(name: str, value: object, error: Mapping[str, Any]) -> str:
    """Sentence about a value that its key does not take.

    error : one entry of pydantic's list of errors, for its kind and its limit.
    """
    key = find_key(name)
    if key is None:
        return f"{name} = {shown(value)}: must be a table, written as [{name}] with its keys below."
    return f"{name} = {shown(value)}: must be {key.takes.rstrip('.')}.{_remedy(key, value, error)}"


def _remedy(key: Key, value: object, error: Mapping[str, Any]) -> str:
    limits = error.get("ctx", {})
    if "ge" in limits:
        return f" Give {limits['ge']:g} or more."
    if "le" in limits:
        return f" Give {limits['le']:g} or less."
    if "gt" in limits:
        return f" Give more than {limits['gt']:g}."
    if isinstance(value, str):
        near = difflib.get_close_matches(value, key.takes.split('"')[1::2], 1, 0.5)
        if near:
            return f' Did you mean "{near[0]}"?'
        if ("number" in key.takes and _is_number(value)) or value in ("true", "false"):
            return f" Write {value} without the quotes."
    return f" It is for: {key.meaning[0].lower()}{key.meaning[1:]}" if key.meaning else ""


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def complaints(data: dict[str, Any], errors: Iterable[Mapping[str, Any]]) -> list[str]:
    """One sentence for each wrong key, from pydantic's errors about the file's data, in the model's order."""
    found: dict[str, str] = {}
    for error in errors:
        steps = trail(data, error["loc"])
        name, value = steps[-1]
        if error["type"] == "extra_forbidden":
            found.setdefault(name, unknown_key(name))
            continue
        name, value = next((step for step in reversed(steps) if find_key(step[0])), (name, value))
        found.setdefault(name, wrong_value(name, value, error))
    return [
        said for name, said in found.items() if not any(other.startswith((f"{name}.", f"{name}[")) for other in found)
    ]
