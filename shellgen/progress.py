"""How a long task tells what it is doing: named steps, and remarks between them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol


class Progress(Protocol):
    """What a long task reports to. Steps follow one another; a step may hold smaller ones."""

    def step(self, name: str) -> AbstractContextManager[None]:
        """Announce a step for as long as the `with` block runs, named as the user would call it."""
        ...

    def note(self, text: str) -> None:
        """Say one line that the user should read, such as an output that was left out and why."""
        ...


class Quiet:
    """Reports to nobody: the choice of programs that import the package.

    >>> with Quiet().step("Reading the pattern"):
    ...     pass
    """

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Run the block without a word."""
        yield

    def note(self, text: str) -> None:
        """Say nothing."""
