"""Progress: steps by name on a terminal, notes alone where it is piped, nothing when quiet."""

import io

import pytest
from rich.console import Console
from rich.progress import Progress as Display
from rich.progress import TextColumn

from shellgen.cli.progress import Notes, Shown, shown_progress
from shellgen.progress import Quiet


def test_quiet_says_nothing(capsys):
    with shown_progress(quiet=True) as progress, progress.step("Reading"):
        progress.note("nothing")
    assert isinstance(progress, Quiet)
    assert capsys.readouterr() == ("", "")


def test_piped_stderr_gets_notes_alone(capsys):
    with shown_progress(quiet=False) as progress, progress.step("Reading"):
        progress.note("no pictures: no display")
    assert isinstance(progress, Notes)
    assert capsys.readouterr() == ("", "note: no pictures: no display\n")


def shown() -> tuple[Shown, Console, Display]:
    console = Console(file=io.StringIO(), width=80)
    display = Display(TextColumn("{task.description}", markup=False), console=console)
    return Shown(display), console, display


def test_steps_are_named_and_nested():
    progress, _, display = shown()
    with progress.step("Envelopes"), progress.step("half-a"):
        pass
    assert [task.description for task in display.tasks] == ["Envelopes", "  half-a"]
    assert all(task.finished for task in display.tasks)


def test_a_step_that_fails_is_not_shown_as_done():
    progress, _, display = shown()
    with pytest.raises(ValueError, match="broken"), progress.step("Envelopes"):
        raise ValueError("broken")
    assert not display.tasks[0].finished
    with progress.step("Next"):
        pass
    assert display.tasks[1].description == "Next"


def test_notes_keep_their_square_brackets():
    progress, console, _ = shown()
    progress.note("[red]x[/red]")
    assert console.file.getvalue() == "note: [red]x[/red]\n"
