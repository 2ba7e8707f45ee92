"""`shellgen planes`: where to part the pattern, and what each plane costs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import RenderableType

    from shellgen.parting.keep_clear import Box
    from shellgen.parting.plane_cost import PlaneCost
    from shellgen.parting.rank import Ranking

FIGURES = (
    "normal",
    "offset_mm",
    "fill_cm3",
    "stepped_fill_cm3",
    "fill_g",
    "flange_length_mm",
    "draw_mm",
    "balance",
    "projected_mm",
    "free_fill_cm3",
    "keys_cm3",
    "jacket_cm3",
    "flange_area_cm2",
    "bed_tiles",
    "crosses",
    "role",
    "why",
)


def planes(
    job: Annotated[Path, typer.Argument(help="Job file (TOML).", show_default=False)],
    write: Annotated[int | None, typer.Option(help="Write plane number N into the job file.")] = None,
    keep_clear: Annotated[
        list[str] | None,
        typer.Option(help="Where the seam should not run: x,y,z,x,y,z of a box in the mold, or a side such as +y."),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Folder to write, by default outputs/<job name>-planes.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the figures as JSON, nothing else.")] = False,
) -> None:
    """Rank parting planes by what they cost in rubber; draw each; write the chosen one into the job."""
    import json

    from shellgen.cli.progress import shown_progress
    from shellgen.cli.tables import wide_console
    from shellgen.job.defaults import fill_in
    from shellgen.job.read import read_job
    from shellgen.mold.as_built import rank_as_built
    from shellgen.parting.into_job import with_plane
    from shellgen.pattern.intake import take_in
    from shellgen.sheet.plane_views import draw_plane
    from shellgen.shop.files import png, put_files

    wanted = read_job(job)
    name = wanted.settings.name
    with shown_progress(quiet=quiet or as_json) as progress:
        with progress.step("Reading the pattern"):
            pattern = take_in(wanted.settings, wanted.base)
            settings = fill_in(wanted.settings, pattern.bounds_mm)
        boxes = [_box(each, pattern.bounds_mm) for each in keep_clear or ()]
        with progress.step("Costing planes"):
            ranking = rank_as_built(settings, pattern, boxes)
        changed = None
        if write is not None:
            changed = with_plane(job.read_text(encoding="utf-8"), _numbered(ranking, write), job.name)
        shown = {"middle.png": (ranking.middle, 0)}
        shown |= {f"plane-{k}.png": (plane, k) for k, plane in enumerate(ranking.planes, 1)}
        figures = json.dumps(_figures(ranking), indent=2, ensure_ascii=False) + "\n"
        files = {"planes.json": figures.encode()}
        if settings.outputs.pictures:
            with progress.step("Drawing the pictures"):
                files |= {
                    file: png(draw_plane(ranking.work, plane, job=name, number=k)) for file, (plane, k) in shown.items()
                }
    folder = out or Path("outputs") / f"{name}-planes"
    put_files(folder, files)
    if changed is not None:
        put_files(job.parent, {job.name: changed.encode()})
    if as_json:
        typer.echo(figures, nl=False)
    elif not quiet:
        console = wide_console()
        for block in _blocks(ranking):
            console.print(block)
        said = f"Written to {folder}."
        if write is not None:
            said += f" Plane {write} is now in {job}."
        elif settings.parting.kind == "plane":
            said += f" To take plane 1: shellgen planes {job} --write 1"
        console.print(said, markup=False, highlight=False, soft_wrap=True)


def _figures(ranking: Ranking) -> dict[str, Any]:
    """The ranking as plain data with stable keys."""

    def plain(plane: PlaneCost) -> dict[str, Any]:
        return {key: _rounded(getattr(plane, key)) for key in FIGURES}

    return {"planes": [plain(plane) for plane in ranking.planes], "middle": plain(ranking.middle)}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6) + 0.0
    return [_rounded(item) for item in value] if isinstance(value, tuple) else value


def _numbered(ranking: Ranking, number: int) -> PlaneCost:
    from shellgen.errors import ShellgenError

    count = len(ranking.planes)
    if not 1 <= number <= count:
        raise ShellgenError(f"--write {number}: there are planes 1 to {count}.")
    return ranking.planes[number - 1]


def _box(text: str, bounds_mm: Any) -> Box:
    from shellgen.errors import ShellgenError
    from shellgen.parting.keep_clear import side_box

    side = text.strip().lower()
    if len(side) == 2 and side[0] in "+-" and side[1] in "xyz":
        return side_box(bounds_mm, side)
    try:
        a, b, c, d, e, f = (float(part) for part in text.split(","))
    except ValueError:
        raise ShellgenError(
            f"--keep-clear {text}: is neither a side (+x, -x, ... -z) nor a box of six numbers, "
            "such as -20,-60,80,20,0,140."
        ) from None
    return (min(a, d), min(b, e), min(c, f)), (max(a, d), max(b, e), max(c, f))


def _blocks(ranking: Ranking) -> list[RenderableType]:
    """The table of planes, and the reasons below it."""
    from rich.table import Table
    from rich.text import Text

    table = Table(title="Parting planes by what they cost", title_justify="left")
    table.add_column("plane")
    headings = (
        "normal",
        "offset, mm",
        "fill, cm3",
        "stepped, cm3",
        "fill, g",
        "line, mm",
        "draw, mm",
        "balance",
        "size, mm",
    )
    for heading in headings:
        table.add_column(heading, justify="right")
    table.add_column("best at")
    rows = [(str(k), plane) for k, plane in enumerate(ranking.planes, 1)] + [("middle", ranking.middle)]
    for label, plane in rows:
        table.add_row(
            label,
            " ".join(f"{c:.2f}" for c in plane.normal),
            f"{plane.offset_mm:.1f}",
            f"{plane.fill_cm3:.1f}",
            f"{plane.stepped_fill_cm3:.1f}",
            f"{plane.fill_g:.0f}",
            f"{plane.flange_length_mm:.0f}",
            f"{plane.draw_mm:.0f}",
            f"{plane.balance:.2f}",
            " x ".join(f"{side:.0f}" for side in plane.projected_mm),
            "" if label == "middle" else plane.role,
        )
    why = "\n".join(f"{label}: {' '.join(plane.why)}" for label, plane in rows)
    return [table, Text(why + "\n")]
