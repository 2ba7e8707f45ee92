"""Single figures of practice and physics, each with its unit and source (figures.csv)."""

from __future__ import annotations

from shellgen.standards.table import UnknownName, rows


def figure(name: str) -> float:
    """The value of one figure, in the unit the table gives.

    Raises UnknownName for a name that is not in the table.
    """
    for entry in rows("figures"):
        if entry["name"] == name:
            return float(entry["value"])
    raise UnknownName(f"figure '{name}' is not in the table of figures.")
