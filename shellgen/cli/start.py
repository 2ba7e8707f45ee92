"""`shellgen start`: measure a mesh, write a job file for it, say what was assumed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from shellgen.job.assume import Assumed
    from shellgen.pattern.measure import Measured
    from shellgen.pattern.pattern import Pattern
    from shellgen.progress import Progress


def start(
    pattern: Annotated[Path, typer.Argument(help="Mesh: STL, OBJ, PLY, 3MF, GLB, OFF or STEP.", show_default=False)],
    out: Annotated[Path | None, typer.Option(help="Job file to write, by default <pattern's name>.toml here.")] = None,
    longest_side_mm: Annotated[
        float | None, typer.Option(min=1.0, help="The pattern's longest side as measured: the mesh is scaled to it.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace a job file of that name.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was measured and assumed as JSON.")] = False,
) -> None:
    """Write a fully commented job file for a mesh."""
    import os

    from shellgen.cli.progress import shown_progress
    from shellgen.errors import JobError
    from shellgen.job.defaults import choices
    from shellgen.job.read import name_from
    from shellgen.job.starter import starter_text

    name = name_from(pattern.stem)
    path = out or Path(f"{name}.toml")
    path = path / f"{name}.toml" if path.is_dir() else path
    if path.exists() and not force:
        raise JobError(f"{path}: is there already. Give --force to replace it, or another --out.")
    file = Path(os.path.relpath(pattern.resolve(), path.parent.resolve())).as_posix()
    with shown_progress(quiet=quiet) as progress:
        measured, assumed = _assumed(pattern, name, file, path.parent, longest_side_mm, progress)
    bounds_mm = ((0.0, 0.0, 0.0), assumed.size_mm)
    remarks = [f"{why.topic}: {why.says}" for why in assumed.why]
    text = starter_text(assumed.chosen, remarks, choices(assumed.settings, bounds_mm), path.name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    if as_json:
        typer.echo(_json(path, measured, assumed))
    elif not quiet:
        typer.echo(_said(pattern, path, measured, assumed))


def _assumed(
    pattern: Path, name: str, file: str, base: Path, longest_mm: float | None, progress: Progress
) -> tuple[Measured, Assumed]:
    """Measure the mesh, choose, and try the choice of board and plane on the pattern itself."""
    import numpy as np

    from shellgen.errors import PatternError
    from shellgen.job.assume import Base, assume, flat_base_unevenness, up_axis
    from shellgen.job.model import PatternSettings
    from shellgen.pattern.intake import take_in
    from shellgen.pattern.load import load
    from shellgen.pattern.measure import measure
    from shellgen.pattern.orient import turning

    with progress.step(f"Measuring {pattern.name}"):
        raw = load(pattern)
        turn = turning(PatternSettings.model_validate({"up": up_axis(pattern.suffix)}))
        upright = np.matmul(raw.vertices, turn.T)
        measured = measure(upright, raw.faces)
    x, y, z = (float(side) for side in measured.extents)
    flat = Base(measured.flat_base_share, flat_base_unevenness(upright, raw.faces))

    def standing(on: Base) -> Assumed:
        size = (x, y, z)
        return assume(name=name, file=file, suffix=pattern.suffix, size=size, base=on, longest_mm=longest_mm)

    assumed = standing(flat)
    taken = None
    if assumed.settings.mount.kind == "board":
        with progress.step("Trying it on a board"):
            try:
                taken = take_in(assumed.settings, base)
            except PatternError:
                assumed = standing(Base(0.0, 0.0))
    with progress.step("Costing its parting"):
        return measured, _parted(assumed, base, taken)


def _parted(assumed: Assumed, base: Path, taken: Pattern | None) -> Assumed:
    """Have the parting follow the silhouette where that saves enough rubber; a pattern that cannot be costed stays.

    taken : the pattern, if it was read with these settings before.
    """
    from shellgen.errors import ShellgenError
    from shellgen.job.assume import following
    from shellgen.job.defaults import fill_in
    from shellgen.mold.as_built import cost_as_built
    from shellgen.parting.reasons import WORTH_STEPPING, stepping_share
    from shellgen.pattern.intake import take_in

    try:
        pattern = taken or take_in(assumed.settings, base)
        plane = cost_as_built(fill_in(assumed.settings, pattern.bounds_mm), pattern)
    except ShellgenError:  # `build` says what is wrong with it
        return assumed
    share = stepping_share(plane)
    return following(assumed, plane.fill_cm3 - plane.stepped_fill_cm3, share) if share > WORTH_STEPPING else assumed


def _said(pattern: Path, path: Path, measured: Measured, assumed: Assumed) -> str:
    closed = "closed" if measured.closed_bodies == measured.bodies else f"{measured.closed_bodies} of them closed"
    bodies = f"1 body, {'closed' if measured.closed_bodies else 'with holes'}"
    bodies = bodies if measured.bodies == 1 else f"{measured.bodies:,} bodies, {closed}"
    lines = [f"{pattern.name}: {measured.triangles:,} triangles, {bodies}", f"Assumed, to change in {path}:"]
    lines += [f"  {why.topic:<7} {why.says}" for why in assumed.why]
    return "\n".join([*lines, f"Wrote {path}. Next: shellgen build {path}"])


def _json(path: Path, measured: Measured, assumed: Assumed) -> str:
    import json

    return json.dumps(
        {
            "job_file": path.as_posix(),
            "pattern": {
                "triangles": measured.triangles,
                "bodies": measured.bodies,
                "closed_bodies": measured.closed_bodies,
                "extents": [float(side) for side in measured.extents],
                "flat_base_share": round(measured.flat_base_share, 4),
            },
            "size_mm": list(assumed.size_mm),
            "chosen": dict(assumed.chosen),
            "assumed": {why.topic: why.says for why in assumed.why},
        },
        indent=1,
    )
