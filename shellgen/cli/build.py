"""`shellgen build`: job file in, folder of parts, manifest and pictures out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

CHECK_FAILED = 3


def build(
    job: Annotated[Path, typer.Argument(help="Job file (TOML), as `shellgen start` writes it.", show_default=False)],
    out: Annotated[Path | None, typer.Option(help="Folder to write, by default outputs/<job name>.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the manifest as JSON, nothing else.")] = False,
) -> None:
    """Build jacket and shell, check them, write the files.

    Exit code 3 if a check fails: the files are there to look at, not to make.
    """
    from shellgen.cli.progress import shown_progress
    from shellgen.cli.tables import failures, print_build
    from shellgen.errors import DesignError
    from shellgen.export.manifest import manifest_text
    from shellgen.job.read import read_job
    from shellgen.pipeline import build_job

    wanted = read_job(job)
    try:
        with shown_progress(quiet=quiet) as progress:
            result = build_job(wanted, out, progress)
    except DesignError as error:
        prefix = f"{wanted.path.name}: "
        raise DesignError(prefix + str(error).removeprefix(prefix)) from error
    if as_json:
        typer.echo(manifest_text(result.manifest), nl=False)
    elif not quiet:
        print_build(result.manifest, result.folder, result.timings)
    if result.failed:
        if quiet or as_json:
            typer.echo(f"DO NOT MAKE: {failures(result.manifest)}", err=True)
        raise typer.Exit(CHECK_FAILED)
