"""The whole job, one line a step: pattern, parting, skins, pieces, checks, files."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shellgen.job.read import Job
from shellgen.progress import Progress, Quiet

if TYPE_CHECKING:
    from PIL import Image

    from shellgen.checks.finding import Finding
    from shellgen.mold.mold import Mold


@dataclass(frozen=True, slots=True)
class BuildResult:
    """A finished build: its folder, manifest and timings, and whether a check failed."""

    folder: Path
    manifest: dict[str, Any]
    timings: dict[str, float]
    failed: bool


@dataclass(slots=True)
class Watch:
    """Times the steps that it announces."""

    progress: Progress
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Announce and time one step."""
        start = time.perf_counter()
        with self.progress.step(name):
            yield
        self.seconds[name] = round(time.perf_counter() - start, 3)


def make_mold(job: Job, watch: Watch) -> Mold:
    """From a job to finished solids."""
    from shellgen.envelope.warm import warm_up
    from shellgen.job.defaults import fill_in
    from shellgen.mold.design import design
    from shellgen.mold.finish import finish
    from shellgen.mold.guard import machine_memory_bytes, refuse_oversize
    from shellgen.pattern.intake import take_in

    with watch.step("Loading the kernels (the first run compiles them)"):
        warm_up()
    with watch.step("Reading the pattern"):
        pattern = take_in(job.settings, job.base)
        settings = fill_in(job.settings, pattern.bounds_mm)
        refuse_oversize(settings, pattern.bounds_mm, len(pattern.faces), machine_memory_bytes())
    for note in pattern.notes:
        watch.progress.note(note)
    with watch.step("Laying rubber and shell over it"):
        plan = design(settings, pattern)
    for note in plan.notes:
        watch.progress.note(note)
    with watch.step("Making the pieces"):
        return finish(plan)


def check_mold(mold: Mold, watch: Watch) -> tuple[Finding, ...]:
    """All checks on the finished solids."""
    from shellgen.checks.run import run_checks

    with watch.step("Checking the pieces"):
        return run_checks(mold)


def build_job(job: Job, out: Path | None = None, progress: Progress | None = None) -> BuildResult:
    """Build a job into a folder, swapped in whole.

    out : the folder, `outputs/<job name>` by default. Raises ShellgenError on bad input; a failed check does not raise,
    its files are written for inspection and `failed` is set.
    """
    import json

    from shellgen.export.folder import refuse_foreign, swap_in
    from shellgen.export.write import write_build

    watch = Watch(progress or Quiet())
    folder = out or Path("outputs") / job.settings.name
    refuse_foreign(folder)
    mold = make_mold(job, watch)
    with ThreadPoolExecutor(1) as aside, swap_in(folder) as fresh:
        pages = aside.submit(_pages, mold) if mold.design.settings.outputs.pictures else None
        findings = check_mold(mold, watch)
        files: dict[str, dict[str, str]] = {}
        if mold.design.settings.outputs.step:
            with watch.step("Writing STEP and reading it back"):
                files, told = _steps(mold, fresh, watch)
            findings = (*findings, *told)
        with watch.step("Writing the parts"):
            manifest = write_build(mold, findings, fresh, more_files=files)
        if pages is not None:
            with watch.step("Drawing the pictures"):  # begun beside the checks
                _save(pages, findings, fresh, watch)
        (fresh / "timings.json").write_text(json.dumps(watch.seconds, indent=2) + "\n", encoding="utf-8")
    return BuildResult(folder, manifest, watch.seconds, any(f.status == "fail" for f in findings))


def _steps(mold: Mold, folder: Path, watch: Watch) -> tuple[dict[str, dict[str, str]], tuple[Finding, ...]]:
    """STEP files by part, and what reading them back says.

    A file that fails there is no use to anyone: all are taken out again, and the findings warn of it. The meshes are
    judged by their own checks.
    """
    from shellgen.checks.step import step_findings
    from shellgen.export.step import write_steps

    written = write_steps(mold, folder, watch.progress)
    findings = step_findings(mold, folder, written)
    failed = [f for f in findings if f.status == "fail"]
    if not failed:
        return {name: {"step": path} for name, path in written.paths.items()}, findings
    for path in (*written.paths.values(), *([written.assembly] if written.assembly else [])):
        (folder / path).unlink(missing_ok=True)
    why = f"{failed[0].title}: {failed[0].says}"
    watch.progress.note(f"STEP was left out: {why}")
    lost = float(len(written.paths))
    told = [replace(f, status="warn", says=f"left out: {f.says}") if f in failed else f for f in findings]
    return {}, tuple(
        replace(f, status="warn", value=lost, says=f"none is kept: {why}") if f.id == "step-written" else f
        for f in told
    )


def _pages(mold: Mold) -> list[tuple[str, Image.Image]]:
    """The pictures, by file name."""
    from shellgen.sheet.pictures import draw_pages

    return draw_pages(mold)


def _save(
    pages: Future[list[tuple[str, Image.Image]]], findings: tuple[Finding, ...], folder: Path, watch: Watch
) -> None:
    """Pictures where they could be drawn; where not, one line says so and the build goes on."""
    try:
        from shellgen.sheet.pictures import save_pages

        save_pages(pages.result(), findings, folder)
    except (ImportError, MemoryError, OSError) as error:
        watch.progress.note(f"Pictures were left out: {error}")
