"""`shellgen planes`: where to part the pattern, and what each plane costs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from shellgen.mold.more_pieces import ThirdPiece, TwoHalves
    from shellgen.parting.keep_clear import Box
    from shellgen.parting.plane_cost import PlaneCost
    from shellgen.parting.rank import Ranking
    from shellgen.parting.undercut import UndercutMap

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

LEGEND = (
    "fill: rubber beyond the plain thickness, jacket keys apart; stepped: the same with parting.follow = "
    '"silhouette"; line: length of the parting line; draw: depth of the deeper half; balance: smaller half over '
    "larger; size: of a half with its flange."
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
    from shellgen.mold.as_built import prepared, rank_as_built
    from shellgen.mold.more_pieces import weighed
    from shellgen.parting.into_job import with_plane
    from shellgen.parting.undercut import plane_undercuts
    from shellgen.pattern.intake import take_in
    from shellgen.sheet.plane_views import draw_plane
    from shellgen.sheet.undercut_view import draw_undercuts, drawn_mesh
    from shellgen.shop.files import png, put_files

    wanted = read_job(job)
    name = wanted.settings.name
    with shown_progress(quiet=quiet or as_json) as progress:
        with progress.step("Reading the pattern"):
            pattern = take_in(wanted.settings, wanted.base)
            settings = fill_in(wanted.settings, pattern.bounds_mm)
        boxes = [_box(each, pattern.bounds_mm) for each in keep_clear or ()]
        with progress.step("Costing planes"):
            blank = prepared(settings, pattern)
            ranking = rank_as_built(settings, pattern, boxes, blank)
        with progress.step("Weighing further pieces"):
            count = weighed(blank, ranking.planes[0])
        changed = None
        if write is not None:
            changed = with_plane(job.read_text(encoding="utf-8"), _numbered(ranking, write), job.name)
        shown = {"middle.png": (ranking.middle, 0)}
        shown |= {f"plane-{k}.png": (plane, k) for k, plane in enumerate(ranking.planes, 1)}
        with progress.step("Mapping the undercuts"):
            stepped = settings.parting.follow == "silhouette"
            skin = pattern.skin  # of pattern and stem together: nothing of it lies inside the other
            points, faces = drawn_mesh(skin.vertices_mm, skin.faces, settings.jacket.thickness_mm)
            maps = {
                file: plane_undercuts(ranking.work, plane, points, stepped=stepped)
                for file, (plane, _) in shown.items()
            }
        figures = json.dumps(_figures(ranking, list(maps.values()), count), indent=2, ensure_ascii=False) + "\n"
        files = {"planes.json": figures.encode()}
        if settings.outputs.pictures:
            with progress.step("Drawing the pictures"):
                files |= {
                    file: png(draw_plane(ranking.work, plane, job=name, number=k)) for file, (plane, k) in shown.items()
                }
                files |= {
                    f"undercuts-{file}": png(
                        draw_undercuts(points, faces, found, plane=shown[file][0], job=name, number=shown[file][1])
                    )
                    for file, found in maps.items()
                }
    folder = out or Path("outputs") / f"{name}-planes"
    put_files(folder, files)
    if changed is not None:
        put_files(job.parent, {job.name: changed.encode()})
    if as_json:
        typer.echo(figures, nl=False)
    elif not quiet:
        console = wide_console()
        for block in _blocks(ranking, list(maps.values())):
            console.print(block)
        console.print(count.says(), markup=False, highlight=False, soft_wrap=True)
        said = f"Written to {folder}."
        if write is not None:
            said += f" Plane {write} is now in {job}."
        elif settings.parting.kind == "plane":
            said += f" To take plane 1: shellgen planes {job} --write 1"
        console.print(said, markup=False, highlight=False, soft_wrap=True)


def _figures(ranking: Ranking, maps: Sequence[UndercutMap], count: ThirdPiece | TwoHalves) -> dict[str, Any]:
    """The ranking as plain data with stable keys. maps : of the undercuts, the middle plane's first."""

    def plain(plane: PlaneCost, found: UndercutMap) -> dict[str, Any]:
        spots = [{"at_mm": _rounded(s.at_mm), "excess_mm": _rounded(s.excess_mm)} for s in found.spots]
        return {key: _rounded(getattr(plane, key)) for key in FIGURES} | {"undercuts": spots}

    planes = [plain(plane, found) for plane, found in zip(ranking.planes, maps[1:], strict=True)]
    return {"planes": planes, "middle": plain(ranking.middle, maps[0]), **_counted(count)}


def _counted(count: ThirdPiece | TwoHalves) -> dict[str, Any]:
    """What is to be said about the number of pieces, under `third_piece` or `two_halves`."""
    from dataclasses import asdict

    from shellgen.mold.more_pieces import ThirdPiece

    third = isinstance(count, ThirdPiece)
    verdict = {"worth": count.worth} if isinstance(count, ThirdPiece) else {"would_do": count.would_do}
    plain = {key: _rounded(value) for key, value in asdict(count).items()}
    return {"third_piece" if third else "two_halves": {**plain, **verdict, "says": count.says()}}


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


def _blocks(ranking: Ranking, maps: Sequence[UndercutMap]) -> list[RenderableType]:
    """The table of planes, and the reasons below it with the places where the rubber lies deepest."""
    from rich.table import Table
    from rich.text import Text

    from shellgen.parting.undercut import deepest_says

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
    why = "\n".join(
        f"{label}: {' '.join((*plane.why, deepest_says(found)))}"
        for (label, plane), found in zip(rows, [*maps[1:], maps[0]], strict=True)
    )
    return [table, Text(LEGEND + "\n"), Text(why + "\n")]
