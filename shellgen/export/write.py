"""Write a build: every part's files, then the manifest that names them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from shellgen.checks.finding import Finding
from shellgen.export.crumbs import without_crumbs
from shellgen.export.folder import MANIFEST
from shellgen.export.layout import lay
from shellgen.export.manifest import PartFiles, build_manifest, manifest_text, mesh_volume_mm3
from shellgen.export.stl import write_stl
from shellgen.export.threemf import write_3mf
from shellgen.export.weld import weld_float32
from shellgen.mold.mold import Mold, Part


def write_build(
    mold: Mold,
    findings: Sequence[Finding],
    folder: Path,
    *,
    more_files: Mapping[str, Mapping[str, str]] | None = None,
) -> dict[str, Any]:
    """Write all of a mold into an existing folder (see `swap_in`), and return the manifest.

    more_files : by part name, kind of file -> path in the folder, of files that others write (STEP).
    Raises KernelError if a solid cannot be rounded to the file's precision, OSError if a file cannot be written.
    """
    written = write_parts(mold, folder)
    for name, files in (more_files or {}).items():
        part = written[name]
        written[name] = PartFiles({**part.files, **files}, part.volume_mm3, part.bounds_mm)
    manifest = build_manifest(mold, findings, written)
    (folder / MANIFEST).write_text(manifest_text(manifest), encoding="utf-8")
    return manifest


def write_parts(mold: Mold, folder: Path) -> dict[str, PartFiles]:
    """Write STL of every part, 3MF of the rigid ones (and one laid flat if the job asks), two parts at a time."""
    laid = mold.design.settings.outputs.layout
    cut = mold.design.pattern.skin.faces.shape != mold.design.pattern.faces.shape
    with ThreadPoolExecutor(2) as pool:
        done = pool.map(lambda part: _write_part(part, folder, mold.design.settings.name, laid, cut), mold.parts)
        return dict(zip((part.name for part in mold.parts), done, strict=True))


def file_stem(part_name: str) -> str:
    """A part's name as a file name: letters, digits, dots and dashes."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", part_name).strip("-.") or "part"


def _write_part(part: Part, folder: Path, job: str, laid: bool, cut: bool) -> PartFiles:
    """One part's files. cut : the pattern's skin was cut from other solids, and may hold needles."""
    vertices, faces, _ = weld_float32(part.vertices_mm, part.faces)
    if cut and part.kind == "jacket":
        vertices, faces = without_crumbs(vertices, faces)
    stem, title = file_stem(part.name), f"{job} {part.name}"
    files = {"stl": f"{stem}.stl"}
    write_stl(folder / files["stl"], vertices, faces)
    if part.kind != "jacket":
        files["3mf"] = f"{stem}.3mf"
        write_3mf(folder / files["3mf"], vertices, faces, name=title)
        if laid:
            files["laid_3mf"] = f"{stem}-laid.3mf"
            write_3mf(folder / files["laid_3mf"], vertices, faces, name=f"{title} laid flat", transform=lay(part))
    bounds = (tuple(vertices.min(0).tolist()), tuple(vertices.max(0).tolist()))
    return PartFiles(files, mesh_volume_mm3(vertices, faces), bounds)
