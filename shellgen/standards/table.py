"""A data file of this folder: rows of text by column name. Every row carries a source."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

from shellgen.errors import ShellgenError

Row = dict[str, str]


class UnknownName(ShellgenError):
    """A name that a table of standards does not hold."""


@cache
def rows(name: str) -> tuple[Row, ...]:
    """All rows of `name`.csv, in the file's order."""
    with Path(__file__).with_name(f"{name}.csv").open(newline="", encoding="utf-8") as handle:
        return tuple(csv.DictReader(handle))


def row(name: str, **keys: str) -> Row:
    """The one row of a table whose columns have the given values; KeyError if there is none."""
    for entry in rows(name):
        if all(entry[column] == value for column, value in keys.items()):
            return entry
    raise KeyError(f"{name}.csv has no row with {keys}")
