"""A chosen parting plane written into the text of a job file, all else in it untouched."""

from __future__ import annotations

import re
import tomllib
from copy import deepcopy

from shellgen.errors import JobError
from shellgen.parting.plane_cost import PlaneCost

HEADER = re.compile(r"^\s*\[\s*([A-Za-z0-9_.\"' -]+?)\s*\]\s*(#.*)?$")
PLANE = re.compile(r"^\s*plane\s*=")
SPLIT_KEYS = re.compile(r"^\s*(normal|angle_deg|offset_mm)\s*=")


def plane_line(plane: PlaneCost) -> str:
    """The line that asks for this plane, to stand under [parting].

    The normal is rounded to 0.00001, the offset to 0.01 mm.
    """
    normal = ", ".join(f"{round(c, 5) + 0.0:g}" for c in plane.normal)
    return f"plane = {{ normal = [{normal}], offset_mm = {round(plane.offset_mm, 2) + 0.0:g} }}"


def with_plane(text: str, plane: PlaneCost, file_name: str) -> str:
    """The job file's text with `parting.plane` set, comments and order kept.

    Raises
    ------
    JobError
        If the job does not part in two halves, or its text is laid out so that the line has to be set by hand.
    """
    line = plane_line(plane)
    wanted = deepcopy(tomllib.loads(text))
    parting = wanted.setdefault("parting", {})
    kind = parting.get("kind", "plane")
    if kind != "plane":
        raise JobError(f'{file_name}: parting.kind = "{kind}" has no single plane. Set it to "plane" first.')
    parting["plane"] = tomllib.loads(line)["plane"]
    changed = _edited(text.splitlines(), line)
    try:
        sound = tomllib.loads(changed) == wanted
    except tomllib.TOMLDecodeError:
        sound = False
    if not sound:
        raise JobError(
            f"{file_name}: parting is written in a way that cannot be changed safely. Set it by hand under [parting]: "
            f"{line}"
        )
    return changed


def _edited(lines: list[str], line: str) -> str:
    """The lines with the plane in place of the old one, else first under [parting], else in a new table at the end."""
    table, out, done = "", [], False
    has_table = any((m := HEADER.match(each)) and m[1] == "parting" for each in lines)
    for each in lines:
        header = HEADER.match(each)
        if header:
            table = header[1]
            if table == "parting.plane":
                if not has_table:
                    out += ["[parting]", line]
                    done = True
                continue
            out.append(each)
            if table == "parting" and not any(PLANE.match(other) for other in lines):
                out.append(line)
                done = True
        elif table == "parting.plane" and SPLIT_KEYS.match(each):
            continue
        elif table == "parting" and PLANE.match(each):
            out.append(line)
            done = True
        else:
            out.append(each)
    if not done:
        out += ["", "[parting]", line]
    return "\n".join(out) + "\n"
