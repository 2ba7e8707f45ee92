"""Progress on the terminal: each step by its name and time, silent where nobody watches."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from shellgen.progress import Progress, Quiet

if TYPE_CHECKING:
    from rich.progress import Progress as Display


class Shown:
    """Steps as lines of a live display; those within another are set in by two spaces."""

    def __init__(self, display: Display) -> None:
        self._display = display
        self._depth = 0

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Show a step with a running clock until its block ends."""
        task = self._display.add_task("  " * self._depth + name, total=1)
        self._depth += 1
        try:
            yield
            self._display.update(task, completed=1)
        finally:
            self._display.stop_task(task)
            self._depth -= 1

    def note(self, text: str) -> None:
        """Print a line above the steps."""
        self._display.console.print(f"note: {text}", markup=False, highlight=False)


class Notes(Quiet):
    """No steps, only notes: for a stderr that is not a terminal."""

    def note(self, text: str) -> None:
        """Print the line."""
        typer.echo(f"note: {text}", err=True)


@contextmanager
def shown_progress(*, quiet: bool) -> Iterator[Progress]:
    """Progress to stderr: live on a terminal, notes alone where it is piped, nothing if `quiet`."""
    if quiet:
        yield Quiet()
    elif not sys.stderr.isatty():
        yield Notes()
    else:
        from rich.console import Console
        from rich.progress import Progress as Display
        from rich.progress import SpinnerColumn, Task, TextColumn
        from rich.text import Text

        class Seconds(TextColumn):
            """The time a step has taken."""

            def render(self, task: Task) -> Text:
                """Seconds to one place."""
                return Text(f"{task.finished_time or task.elapsed or 0.0:.1f} s")

        columns = (
            SpinnerColumn("line", finished_text="[green]+[/]"),
            TextColumn("{task.description}", markup=False),
            Seconds("", justify="right"),
        )
        with Display(*columns, console=Console(stderr=True), refresh_per_second=8) as display:
            yield Shown(display)
