"""3MF: the zipped XML that printers' software reads, with a unit and a name (3MF Core Specification 1.3).

The same solid gives the same bytes: the zip's dates, order and flags are fixed.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.export.weld import DECIMALS
from shellgen.pattern.pattern import IntArray

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rel0" Target="/3D/3dmodel.model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>\n"
)
FIRST_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold
ROWS = 20_000  # rows of XML made at once


def write_3mf(
    path: Path,
    vertices_mm: FloatArray,
    faces: IntArray,
    *,
    name: str,
    transform: FloatArray | None = None,
    compresslevel: int = 1,
) -> None:
    """Write one solid as 3MF in millimeters.

    path : file to write. vertices_mm : (n, 3) [mm], welded (see `weld_float32`). faces : (m, 3) int. name : shown by
    the reader. transform : 4x4 that the reader applies to place the object, for a copy laid out on its bed.
    compresslevel : 1 (fast) to 9 (small). Raises OSError if the file cannot be written.
    """
    model = b"".join(_model(vertices_mm, faces, name, transform))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for member, text in (("[Content_Types].xml", TYPES), ("_rels/.rels", RELATIONS)):
            package.writestr(_member(member), text, compresslevel=compresslevel)
        package.writestr(_member("3D/3dmodel.model"), model, compresslevel=compresslevel)


def _model(vertices_mm: FloatArray, faces: IntArray, name: str, transform: FloatArray | None) -> Iterator[bytes]:
    """The model's XML, some thousand rows at a time."""
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n'
        f'<resources>\n<object id="1" type="model" name={quoteattr(name)}>\n<mesh>\n<vertices>\n'
    ).encode()
    number = f"%.{DECIMALS}f"
    vertex = f'<vertex x="{number}" y="{number}" z="{number}"/>\n'
    points = np.round(np.asarray(vertices_mm, float), DECIMALS) + 0.0
    for start in range(0, len(points), ROWS):
        rows = points[start : start + ROWS]
        yield (vertex * len(rows) % tuple(rows.ravel().tolist())).encode()
    yield b"</vertices>\n<triangles>\n"
    triangle = '<triangle v1="%d" v2="%d" v3="%d"/>\n'
    for start in range(0, len(faces), ROWS):
        corners = faces[start : start + ROWS]
        yield (triangle * len(corners) % tuple(corners.ravel().tolist())).encode()
    placed = "" if transform is None else f' transform="{_placement(transform)}"'
    yield (
        f'</triangles>\n</mesh>\n</object>\n</resources>\n<build>\n<item objectid="1"{placed}/>\n</build>\n</model>\n'
    ).encode()


def _member(name: str) -> zipfile.ZipInfo:
    """A zip entry without the clock or the system in it."""
    info = zipfile.ZipInfo(name, FIRST_DATE)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.create_system = 3
    info.external_attr = 0o644 << 16
    return info


def _placement(matrix: FloatArray) -> str:
    """A 4x4 as the twelve numbers of the format, which multiplies row vectors from the left."""
    rows = np.asarray(matrix, float)[:3].T
    return " ".join(f"{value + 0.0:.9g}" for value in rows.ravel())
