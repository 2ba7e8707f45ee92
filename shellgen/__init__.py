"""From a pattern's mesh to a silicone jacket and a bolted, registered, checked support shell.

The same as the command line, from Python:

    import shellgen

    job = shellgen.load_job("configs/gate-finial.toml")
    mold = shellgen.make_mold(job)                 # finished solids, nothing written
    shell = shellgen.as_trimesh(mold, "A")         # a trimesh.Trimesh in the mold frame
    bracketed = shellgen.as_workplane(mold, "A")   # the same piece as a cadquery.Workplane
    findings = shellgen.check_mold(mold)           # each with id, status, value, limit, says
    result = shellgen.build(job, "outputs/finial") # writes the folder; result.manifest, result.failed

Importing is cheap: heavy libraries load when a function first needs them.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from shellgen.errors import ShellgenError

if TYPE_CHECKING:
    import trimesh

    from shellgen.checks.finding import Finding
    from shellgen.job.read import Job
    from shellgen.mold.mold import Mold
    from shellgen.pipeline import BuildResult
    from shellgen.progress import Progress

__version__ = "0.1.0"
__all__ = [
    "ShellgenError",
    "__version__",
    "as_trimesh",
    "as_workplane",
    "build",
    "check_mold",
    "load_job",
    "make_mold",
]


def load_job(path: str | Path) -> Job:
    """Read and validate a job file. Raises JobError, which names file, key, value and remedy."""
    from shellgen.job.read import read_job

    return read_job(path)


def make_mold(job: Job, progress: Progress | None = None) -> Mold:
    """Design a job's mold and make its solids, without writing anything. Raises ShellgenError on bad input."""
    from shellgen import pipeline
    from shellgen.progress import Quiet

    return pipeline.make_mold(job, pipeline.Watch(progress or Quiet()))


def check_mold(mold: Mold) -> tuple[Finding, ...]:
    """Every check on a mold's finished solids."""
    from shellgen.checks.run import run_checks

    return run_checks(mold)


def build(job: Job, out: str | Path | None = None, progress: Progress | None = None) -> BuildResult:
    """Build a job into a folder (default `outputs/<job name>`), swapped in whole. Raises ShellgenError on bad input."""
    from shellgen.pipeline import build_job

    return build_job(job, None if out is None else Path(out), progress)


def as_trimesh(mold: Mold, part: str) -> trimesh.Trimesh:
    """One part of a mold as a trimesh.Trimesh [mm, mold frame]. Raises ShellgenError for a name it has not."""
    import trimesh

    names = [p.name for p in mold.parts]
    if part not in names:
        raise ShellgenError(f"There is no part {part!r} in this mold. Its parts are {', '.join(names)}.")
    found = mold.parts[names.index(part)]
    return trimesh.Trimesh(found.vertices_mm, found.faces, process=False)


def as_workplane(mold: Mold, part: str) -> Any:
    """One rigid part as a `cadquery.Workplane` [mm, mold frame], its true faces on the stack.

    Raises KernelError, a ShellgenError, for a name it has not, or where no valid solid of it can be made.
    """
    from shellgen.solid.brep.workplane import piece_workplane

    return piece_workplane(mold, part)
