"""The text of a job file with every key in it: what is chosen stands as it is, every default is commented out."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from shellgen.job.complaint import shown
from shellgen.job.defaults import Choice
from shellgen.job.keys import Key, job_keys, piece_keys, table_meanings

WIDTH = 100
UNIT_BY_ENDING = {"mm": "mm", "deg": "degrees", "kg": "kg", "nm": "N m", "mpa": "MPa"}
EXAMPLES = {
    "pattern.file": "finial.stl",
    "pattern.demo": "gate-finial",
    "pattern.longest_side_mm": 200,
    "mount.stem_diameter_mm": 40,
    "mount.stem_length_mm": 30,
    "mount.stem_at_mm": [0, 0],
    "parting.keep_clear": ["+y", {"low_mm": [-20, -60, 80], "high_mm": [20, 0, 140]}],
    "parting.axis_at_mm": [0, 0],
    "parting.planes": [{"normal": [0, 0, 1], "offset_mm": 300}, {"angle_deg": 90, "splits": "B"}],
    "bolts.flash_limit_mm": 0.2,
    "bolts.torque_nm": 1,
    "shell.modulus_mpa": 1400,
    "limits.bed_mm": [250, 210, 220],
    "limits.lift_kg": 23,
    "pieces.A.thickness_mm": 8,
    "pieces.A.wall_mm": 8,
    "pieces.A.draft_deg": 3,
    "pieces.A.clearance_mm": 0.5,
    "pieces.A.pull": [0, 0, 1],
}
HEAD = (
    "Job file of shellgen. Lengths in mm, angles in degrees, whatever the mesh file's unit is.",
    "A line that begins with # is not read: such keys show their default, or an example where there is none.",
    "Take the # away to set a key. Build with: shellgen build {file}",
)


def starter_text(chosen: Mapping[str, Any], remarks: Iterable[str], defaults: Iterable[Choice], file_name: str) -> str:
    """A job file with every key there is.

    chosen : full key name -> value, these stand as they are. remarks : sentences for its head, what was assumed.
    defaults : those that depend on size, shown commented out with the reason. file_name : of the job file.
    """
    by_size = {choice.key: choice for choice in defaults}
    lines = [*_comment(" ".join(HEAD).format(file=file_name)), ""]
    lines += [line for remark in remarks for line in _comment(f"Assumed: {remark}")]
    for table, keys in groupby((key for key in job_keys() if key.dotted != "pieces"), key=lambda key: key.table):
        lines += ["", "", *_comment(table_meanings()[table]), f"[{table}]"] if table else [""]
        for key in keys:
            lines += _entry(key, chosen, by_size)
    lines += ["", "", *_comment("What differs for piece A; in the same way for B, C, ... Left out: as everywhere.")]
    lines += ["# [pieces.A]"]
    for key in piece_keys():
        lines += _entry(key, chosen, by_size)
    return "\n".join(lines) + "\n"


def written(value: Any) -> str:
    """A value as TOML writes it.

    >>> written({"angle_deg": 90.0})
    '{angle_deg = 90}'
    """
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {written(item)}" for key, item in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(written(item) for item in value)}]"
    if isinstance(value, str):
        return quoted(value)
    return shown(value)


def quoted(text: str) -> str:
    r"""A text as TOML writes it, escapes included.

    >>> quoted('a "b" \\ c')
    '"a \\"b\\" \\\\ c"'
    """
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in escaped) + '"'


def _entry(key: Key, chosen: Mapping[str, Any], by_size: Mapping[str, Choice]) -> list[str]:
    unit = UNIT_BY_ENDING.get(key.leaf.rpartition("_")[2], "")
    said = f"{key.meaning} Takes {key.takes.rstrip('.')}{f', in {unit}' if unit else ''}."
    if key.dotted in chosen:
        return ["", *_comment(said), f"{key.leaf} = {written(chosen[key.dotted])}"]
    if key.dotted in by_size:
        choice = by_size[key.dotted]
        return [
            "",
            *_comment(f"{said} By default here {written(choice.value)}: {choice.why}."),
            _off(key, choice.value),
        ]
    if key.default in (None, ()):
        return ["", *_comment(f"{said} For example:"), _off(key, EXAMPLES[key.dotted])]
    return ["", *_comment(said), _off(key, key.default)]


def _off(key: Key, value: Any) -> str:
    return f"# {key.leaf} = {written(value)}"


def _comment(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="# ", subsequent_indent="# ", break_long_words=False)
