"""A job taken as far as its design: no solid is made yet."""

from __future__ import annotations

from shellgen.job.read import Job
from shellgen.mold.mold import MoldDesign


def design_job(job: Job) -> MoldDesign:
    """Read the pattern, fill in the defaults, lay the mold out. Raises ShellgenError on bad input."""
    from shellgen.job.defaults import fill_in
    from shellgen.mold.design import design
    from shellgen.pattern.intake import take_in

    pattern = take_in(job.settings, job.base)
    return design(fill_in(job.settings, pattern.bounds_mm), pattern)
