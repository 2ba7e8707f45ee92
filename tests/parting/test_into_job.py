"""A plane written into job files of every layout: only that key changes."""

from __future__ import annotations

import tomllib

import pytest

from shellgen.errors import JobError
from shellgen.parting.into_job import plane_line, with_plane
from shellgen.parting.plane_cost import PlaneCost

PLANE = PlaneCost((0.6, -0.8, 0.0), 12.3456, 1, 1, 1, 1, None, 1, 1, 1, 1, (1, 1), None)
SET = {"normal": [0.6, -0.8, 0], "offset_mm": 12.35}

LAYOUTS = {
    "set": '# mine\n\n[parting]\n# which\nplane = "middle"  # old\nslope_deg = 40\n\n[shell]\nwall_mm = 5\n',
    "table without it": 'name = "a"\n[parting]\nslope_deg = 40\n[shell]\nwall_mm = 5\n',
    "commented out": 'name = "a"\n[parting]\n# plane = "middle"\nslope_deg = 40\n',
    "no table": 'name = "a"\n[shell]\nwall_mm = 5',
    "table of its own": "[parting]\nslope_deg = 40\n[parting.plane]\nangle_deg = 30\n[shell]\nwall_mm = 5\n",
    "only a table of its own": 'name = "a"\n[parting.plane]\nnormal = [1, 0, 0]\noffset_mm = 3\n[shell]\nwall_mm = 5\n',
    "empty": "",
}


@pytest.mark.parametrize("text", LAYOUTS.values(), ids=list(LAYOUTS))
def test_only_the_plane_changes(text):
    changed = with_plane(text, PLANE, "job.toml")
    before, after = tomllib.loads(text), tomllib.loads(changed)
    assert after["parting"].pop("plane") == SET
    before.get("parting", {}).pop("plane", None)
    assert after == {"parting": {}} | before
    comments = [line for line in text.splitlines() if line.startswith("#")]
    assert all(line in changed.splitlines() for line in comments)


def test_writing_twice_is_writing_once():
    once = with_plane(LAYOUTS["set"], PLANE, "job.toml")
    assert with_plane(once, PLANE, "job.toml") == once


def test_layouts_that_cannot_be_changed_are_refused_with_the_line():
    for text in ('parting = { plane = "middle" }\n', 'parting.plane = "middle"\n'):
        with pytest.raises(JobError, match=r"by hand under \[parting\]: plane = \{ normal = \[0\.6, -0\.8, 0\]"):
            with_plane(text, PLANE, "job.toml")


def test_other_kinds_are_refused():
    with pytest.raises(JobError, match=r'parting\.kind = "radial" has no single plane'):
        with_plane('[parting]\nkind = "radial"\n', PLANE, "job.toml")


def test_line_reads_back():
    assert tomllib.loads(plane_line(PLANE))["plane"] == SET
