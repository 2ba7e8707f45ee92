"""The folder swap: whatever happens, a whole build stands at the target."""

import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from shellgen.errors import ShellgenError
from shellgen.export import folder
from shellgen.export.folder import swap_in

FILES = 40


def write(into, mark):
    for i in range(FILES):
        (into / f"{i}.txt").write_text(mark * 500)
    (into / "manifest.json").write_text(json.dumps({"parts": [], "mark": mark}))


def mark_of(target):
    """The one mark of a whole build; fails on a mixture or a gap."""
    mark = json.loads((target / "manifest.json").read_text())["mark"]
    for i in range(FILES):
        assert (target / f"{i}.txt").read_text() == mark * 500
    assert len(list(target.iterdir())) == FILES + 1
    return mark


def leftovers(target):
    return [p.name for p in target.parent.iterdir() if p != target]


def test_a_new_build_lands_and_replaces_an_old_one(tmp_path):
    target = tmp_path / "deep" / "bell"
    for mark in "ab":
        with swap_in(target) as fresh:
            assert fresh.parent == target.parent
            write(fresh, mark)
        assert mark_of(target) == mark
        assert leftovers(target) == []


def test_a_failure_leaves_the_old_build(tmp_path):
    target = tmp_path / "bell"
    with swap_in(target) as fresh:
        write(fresh, "a")
    with pytest.raises(RuntimeError, match="half way"), swap_in(target) as fresh:
        (fresh / "0.txt").write_text("b")
        raise RuntimeError("half way")
    assert mark_of(target) == "a"
    assert leftovers(target) == []


def test_a_failure_without_an_old_build_leaves_nothing(tmp_path):
    with pytest.raises(RuntimeError, match="half way"), swap_in(tmp_path / "bell"):
        raise RuntimeError("half way")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [None, "{}", "[1]", "not json"])
def test_a_folder_of_something_else_is_refused_and_kept(tmp_path, content):
    target = tmp_path / "photos"
    target.mkdir()
    (target / "beach.txt").write_text("dear")
    if content is not None:
        (target / "manifest.json").write_text(content)
    with pytest.raises(ShellgenError, match="no build"), swap_in(target):
        pytest.fail("the block must not run")
    assert (target / "beach.txt").read_text() == "dear"
    assert leftovers(target) == []


def test_a_folder_filled_by_another_meanwhile_is_kept(tmp_path):
    target = tmp_path / "bell"
    with pytest.raises(ShellgenError, match="no build"), swap_in(target) as fresh:
        write(fresh, "a")
        target.mkdir()
        (target / "beach.txt").write_text("dear")
    assert (target / "beach.txt").read_text() == "dear"


def test_a_file_in_the_way_is_refused(tmp_path):
    (tmp_path / "bell").write_text("x")
    with pytest.raises(ShellgenError, match="is a file"), swap_in(tmp_path / "bell"):
        pytest.fail("the block must not run")


def test_a_place_that_cannot_hold_a_folder_is_said(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(ShellgenError, match="cannot be written"), swap_in(tmp_path / "file" / "bell"):
        pytest.fail("the block must not run")


def test_an_empty_folder_may_be_filled(tmp_path):
    (tmp_path / "bell").mkdir()
    with swap_in(tmp_path / "bell") as fresh:
        write(fresh, "a")
    assert mark_of(tmp_path / "bell") == "a"


def test_without_exchange_the_old_build_is_renamed_aside(tmp_path, monkeypatch):
    monkeypatch.setattr(folder, "_exchange", lambda one, other: False)
    target = tmp_path / "bell"
    for mark in "ab":
        with swap_in(target) as fresh:
            write(fresh, mark)
    assert mark_of(target) == "b"
    assert leftovers(target) == []


def test_a_result_left_aside_by_a_dead_run_comes_back(tmp_path):
    target = tmp_path / "bell"
    with swap_in(target) as fresh:
        write(fresh, "a")
    target.rename(tmp_path / ".bell.before")
    with pytest.raises(RuntimeError, match="again"), swap_in(target):
        raise RuntimeError("again")
    assert mark_of(target) == "a"


def test_another_run_in_progress_is_left_alone(tmp_path):
    target = tmp_path / "bell"
    with swap_in(target) as one:
        write(one, "a")
        with swap_in(target) as two:
            write(two, "b")
        assert mark_of(target) == "b"
        assert one.exists()
    assert mark_of(target) == "a"


CHILD = """
import json, sys
from pathlib import Path
sys.path[:0] = [{root!r}, {here!r}]
from shellgen.export.folder import swap_in
from test_folder import write
print("ready", flush=True)
for mark in "bc" * 5000:
    with swap_in(Path(sys.argv[1])) as fresh:
        write(fresh, mark)
"""


def test_kill_at_any_moment_leaves_a_whole_build(tmp_path):
    target = tmp_path / "bell"
    with swap_in(target) as fresh:
        write(fresh, "a")
    here = Path(__file__).parent
    code = CHILD.format(root=str(here.parent.parent), here=str(here))
    chance = random.Random(5)
    stale = 0
    for _ in range(12):
        child = subprocess.Popen([sys.executable, "-c", code, str(target)], stdout=subprocess.PIPE)
        assert child.stdout.readline() == b"ready\n"
        time.sleep(chance.uniform(0.0, 0.06))
        child.kill()
        child.wait()
        child.stdout.close()
        assert mark_of(target) in "abc"
        stale += len(leftovers(target))
    assert stale > 0  # some kills did fall into the middle of a build
    assert mark_of(target) in "bc"  # and some builds did land
    with swap_in(target) as fresh:
        write(fresh, "d")
    assert mark_of(target) == "d"
    assert leftovers(target) == []
    assert os.access(target, os.R_OK | os.X_OK)
