"""`shellgen demo`: a pattern made by the tool itself, as a mesh to try the other commands on."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Demo(StrEnum):
    """The demo patterns."""

    GATE_FINIAL = "gate-finial"
    HORN_BELL = "horn-bell"


def demo(
    name: Annotated[Demo, typer.Argument(help="Which pattern.", show_default=False)],
    out: Annotated[Path, typer.Option(help="Folder to write it to.")] = Path(),
    force: Annotated[bool, typer.Option("--force", help="Replace a file of that name.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Write a demo pattern as an STL."""
    from shellgen.errors import PatternError
    from shellgen.pattern.demo import write_demo

    path = out / f"{name.value}.stl"
    if path.exists() and not force:
        raise PatternError(f"{path}: is there already. Give --force to replace it, or another --out.")
    out.mkdir(parents=True, exist_ok=True)
    write_demo(name.value, path)
    if not quiet:
        typer.echo(f"Wrote {path}. Next: shellgen start {path}")
