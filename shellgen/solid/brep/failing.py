"""Turns the STEP kernel's own exceptions into refusals in words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from shellgen.errors import KernelError


@contextmanager
def in_words() -> Iterator[None]:
    """Raise KernelError where OCC throws: an operation on curves or surfaces that it could not finish.

    Its exceptions share no base class in Python, but the module that they come from.
    """
    try:
        yield
    except Exception as error:
        if not type(error).__module__.startswith("OCP"):
            raise
        said = str(error).strip() or type(error).__name__
        raise KernelError(f"the STEP kernel could not finish it: {said}") from error
