"""The `shellgen` program: its commands in the order of the work, its errors and exit codes.

Exit codes: 0 done, 2 wrong input or a place that cannot be written, 3 built but a check failed, 130 interrupted.
"""

from __future__ import annotations

import os
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from shellgen.cli.bolts import bolts
from shellgen.cli.build import build
from shellgen.cli.coupon import coupon
from shellgen.cli.demo import demo
from shellgen.cli.planes import planes
from shellgen.cli.start import start
from shellgen.errors import ShellgenError

COMMANDS = (start, planes, bolts, coupon, build, demo)


class Commands(TyperGroup):
    """All commands; what the user can mend ends in one message, never in a traceback."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except ShellgenError as error:
            typer.echo(f"error: {error}", err=True)
        except BrokenPipeError:
            raise
        except OSError as error:
            place = f"{error.filename}: " if error.filename else ""
            typer.echo(f"error: {place}{error.strerror or error}.", err=True)
        except MemoryError:
            typer.echo("error: not enough memory. Give a larger raster.pitch_mm or fewer triangles.", err=True)
        except KeyboardInterrupt:
            typer.echo("interrupted; nothing was changed.", err=True)
            raise typer.Exit(130) from None
        raise typer.Exit(2)


app = typer.Typer(
    name="shellgen",
    cls=Commands,
    help="From a pattern's mesh to a silicone jacket and a bolted, registered, checked support shell.",
    epilog="First: shellgen start PATTERN writes a job file. Then: shellgen build JOB makes the mold.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command in COMMANDS:
    app.command()(command)


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"shellgen {version('shellgen')}")
        raise typer.Exit()


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """From a pattern's mesh to a silicone jacket and a bolted, registered, checked support shell."""


def main() -> None:
    """Run the program on the arguments it was called with.

    Its own kernels share out the cores; the threads of a linear algebra library would only wait in the same cores.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    app(prog_name="shellgen")


if __name__ == "__main__":
    main()
