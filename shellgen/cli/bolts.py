"""`shellgen bolts`: how far apart the bolts of a job may be, in a table, two pictures and words."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import RenderableType

    from shellgen.job.model import Settings
    from shellgen.shop.bolts import BoltsAnswer
    from shellgen.shop.joint.job import JointOptions


def bolts(
    job: Annotated[Path, typer.Argument(help="Job file (TOML).", show_default=False)],
    sizes: Annotated[str, typer.Option(help="Bolt sizes to compare, as M5,M6,M8; by default the job's.")] = "",
    thicknesses: Annotated[str, typer.Option(help="Flange thicknesses to compare in mm, as 6,8,10.")] = "",
    limit_mm: Annotated[float | None, typer.Option(help="Opening that still casts clean, 0.2 by default.")] = None,
    modulus_mpa: Annotated[float | None, typer.Option(help="Modulus of the flange, as a coupon measured it.")] = None,
    squeeze_mm: Annotated[float | None, typer.Option(help="How much the jacket is too thick for its room.")] = None,
    large_washers: Annotated[bool, typer.Option("--large-washers", help="Large washers (ISO 7093-1).")] = False,
    out: Annotated[Path | None, typer.Option(help="Folder to write, by default outputs/<job name>-bolts.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the figures as JSON, nothing else.")] = False,
) -> None:
    """Calculate the bolted joint: opening of every gap, the largest pitch, torque, the bolt list.

    Exit code 3 if a gap opens more than the limit.
    """
    import json

    from shellgen.cli.progress import shown_progress
    from shellgen.job.read import read_job
    from shellgen.shop.bolts import answer
    from shellgen.shop.bolts_chart import draw_chart
    from shellgen.shop.design_job import design_job
    from shellgen.shop.files import png, put_files
    from shellgen.shop.joint.job import JointOptions
    from shellgen.shop.outline_chart import draw_outline

    wanted = read_job(job)
    options = JointOptions(
        limit_mm=limit_mm,
        modulus_mpa=modulus_mpa,
        squeeze_mm=squeeze_mm,
        washer="large" if large_washers else "plain",
    )
    _refuse_negative(options)
    asked = tuple(name.strip() for name in sizes.split(",") if name.strip())
    thick = _numbers("--thicknesses", thicknesses)
    with shown_progress(quiet=quiet or as_json) as progress:
        with progress.step("Laying out the mold"):
            design = design_job(wanted)
        with progress.step("Calculating the joint"):
            found = answer(design, options, asked, thick)
        with progress.step("Drawing the plots"):
            pages = {
                "bolts.png": png(draw_chart(found, wanted.settings.name)),
                "outline.png": png(draw_outline(found, wanted.settings.name)),
            }
    folder = out or Path("outputs") / f"{wanted.settings.name}-bolts"
    text = json.dumps(found.as_dict(), indent=1) + "\n"
    put_files(folder, {**pages, "bolts.json": text.encode()})
    if as_json:
        typer.echo(text, nl=False)
    elif not quiet:
        from shellgen.cli.tables import wide_console

        console = wide_console()
        for block in blocks(found, design.settings):
            console.print(block)
        console.print(f"Written to {folder}", markup=False, highlight=False, soft_wrap=True)
    if not found.report.holds:
        if quiet or as_json:
            typer.echo(found.says[0], err=True)
        raise typer.Exit(3)


def blocks(found: BoltsAnswer, settings: Settings) -> list[RenderableType]:
    """What is printed: gaps, hardware, words."""
    from rich.table import Table
    from rich.text import Text

    report = found.report
    gaps = Table(
        title=f"Gaps of {settings.name}: {found.bolt.size} on a {settings.shell.material} flange", title_justify="left"
    )
    for heading in ("pair", "gap"):
        gaps.add_column(heading)
    for heading in ("length, mm", "opening, mm", "contact, MPa", "in contact", "bolt, N"):
        gaps.add_column(heading, justify="right")
    number = 0
    for gap in report.gaps:
        number += gap.kind == "span"
        wide = gap.opening_mm > report.limit_mm
        opening = Text(f"{gap.opening_mm:.3f}", style="bold white on red" if wide else "")
        name = f"{number}" if gap.kind == "span" else "free end"
        pair, length = f"{gap.pair[0]}-{gap.pair[1]}", f"{gap.span_mm:.1f}"
        closed = f"{100 * gap.closed:.0f} %"
        gaps.add_row(pair, name, length, opening, f"{gap.contact_mpa:.3f}", closed, f"{gap.bolt_n:.0f}")
    hardware = Table(title="Bolt list", title_justify="left")
    for heading in ("for", "item", "size", "length, mm", "standard"):
        hardware.add_column(heading)
    hardware.add_column("count", justify="right")
    for item in report.hardware:
        length = f"{item.length_mm:g}" if item.length_mm is not None else ""
        hardware.add_row(item.setup, item.item, item.size, length, item.standard, f"{item.count}")
    bounds = Table(title="The same head on wall and lid", title_justify="left")
    bounds.add_column("part")
    bounds.add_column("value", justify="right", no_wrap=True)
    bounds.add_column("says")
    for bound in found.bounds:
        bounds.add_row(bound.what, f"{bound.value:.2f} {bound.unit}", bound.says)
    return [gaps, hardware, bounds, Text("\n".join(found.says) + "\n")]


def _numbers(option: str, text: str) -> tuple[float, ...]:
    from shellgen.errors import ShellgenError

    try:
        return tuple(float(part) for part in text.split(",") if part.strip())
    except ValueError:
        raise ShellgenError(f"{option} {text}: is not a list of numbers. Write it as 6,8,10.") from None


def _refuse_negative(options: JointOptions) -> None:
    from math import isfinite

    from shellgen.errors import ShellgenError

    for name, least in (("limit_mm", 1e-6), ("modulus_mpa", 1e-6), ("squeeze_mm", 0.0)):
        value = getattr(options, name)
        if value is not None and not (isfinite(value) and value >= least):
            raise ShellgenError(f"--{name.replace('_', '-')} {value:g}: must be {'above' if least else 'at least'} 0.")
