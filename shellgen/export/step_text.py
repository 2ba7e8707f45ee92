"""The text of STEP files made shorter: no spaces within entities, no lines in the parameters of planes.

A plane's own parameters follow from where its edges lie in space; readers work them out themselves.
"""

from __future__ import annotations

import re
from itertools import count

BREAK = re.compile(rb"\n *")
SURFACE_CURVE = re.compile(rb"(#\d+=SURFACE_CURVE\('[^']*',#\d+,)\(#(\d+),#(\d+)\)(,\.PCURVE_S1\.\))")
USE = re.compile(rb"(=NEXT_ASSEMBLY_USAGE_OCCURRENCE\()'\d+'")
REFERENCE = re.compile(rb"#(\d+)")


def shortened(text: bytes) -> bytes:
    """A STEP file as OCC writes it, but shorter. One whose entities are not numbered in order stays as it is."""
    head, mark, rest = text.partition(b"DATA;\n")
    data, end, tail = rest.partition(b"\nENDSEC;")
    ends = (data + b"\n").replace(b";\n", b"\0")
    rows = BREAK.sub(b"", ends).replace(b" = ", b"=").split(b"\0")[:-1]
    if not rows or not all(rows[k].startswith(b"#%d=" % (k + 1)) for k in (0, len(rows) // 2, len(rows) - 1)):
        return text
    return head + mark + b";\n".join(_without_plane_lines(rows)) + b";" + end + tail


def uses_numbered(text: bytes) -> bytes:
    """A STEP file whose uses of parts in an assembly are numbered from 1: OCC counts them on from file to file."""
    numbers = count(1)
    return USE.sub(lambda found: b"%b'%d'" % (found[1], next(numbers)), text)


def _without_plane_lines(rows: list[bytes]) -> list[bytes]:
    """Rows without the lines that edges have in the parameters of planes."""
    gone: set[int] = set()
    bare: dict[bytes, bytes] = {}  # an edge's curve with its lines -> the curve alone
    for k, row in enumerate(rows):
        found = SURFACE_CURVE.fullmatch(row) if b"=SURFACE_CURVE(" in row[:24] else None
        if found is None:
            continue
        lines = [int(found[n]) for n in (2, 3)]
        flat = [n for n in lines if _on_plane(rows, n)]
        for n in flat:
            gone |= _line(rows, n)
        if len(flat) == 1:
            kept = next(n for n in lines if n not in flat)
            rows[k] = found[1] + b"(#%d)" % kept + found[4]
        elif flat:
            gone.add(k + 1)
            bare[b"#%d" % (k + 1)] = b"#%d" % _references(row)[0]
    for k, row in enumerate(rows):
        if bare and b"=EDGE_CURVE(" in row[:24]:
            head, curve, tail = row.rsplit(b",", 2)
            rows[k] = b",".join([head, bare.get(curve, curve), tail])
    return [row for k, row in enumerate(rows, 1) if k not in gone]


def _on_plane(rows: list[bytes], number: int) -> bool:
    """Whether a line in parameters belongs to a plane."""
    surface = _references(rows[number - 1])[0]
    return b"=PLANE(" in rows[surface - 1]


def _line(rows: list[bytes], number: int) -> set[int]:
    """Numbers of all that a line in a plane's parameters is made of, but for the plane."""
    drawing = _references(rows[number - 1])[1]
    out, waiting = {number}, [drawing]
    while waiting:
        at = waiting.pop()
        if at not in out:
            out.add(at)
            waiting += _references(rows[at - 1])
    return out


def _references(row: bytes) -> list[int]:
    """Numbers that an entity refers to, in order."""
    return [int(n) for n in REFERENCE.findall(row.partition(b"=")[2])]
