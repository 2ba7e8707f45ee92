"""Safety cautions for the workshop, as data. They point to the data sheet; they replace nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from shellgen.standards.table import rows

DEFER = (
    "The product's safety data sheet, your local rules and licensed practice come first: follow them, "
    "and ask a qualified person where this note is not enough."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One hazard. `when` names the work it belongs to; `figures` may be empty."""

    key: str
    title: str
    when: str
    says: str
    figures: str
    source: str
    how: str

    @property
    def text(self) -> str:
        """The whole caution as a paragraph, ending with the words that defer to the data sheet."""
        figures = f" Limits: {self.figures}." if self.figures else ""
        return f"{self.says}{figures} {DEFER}"


@cache
def cautions() -> tuple[Caution, ...]:
    """Every caution of the table."""
    return tuple(
        Caution(e["key"], e["title"], e["when"], e["says"], e["figures"], e["source"], e["how"])
        for e in rows("cautions")
    )


def cautions_for(work: Iterable[str]) -> tuple[Caution, ...]:
    """Cautions of the named kinds of work.

    Known kinds: polyurethane, polyester, resin, sanding, silicone, lifting, rolling. Other names add nothing.
    """
    wanted = set(work)
    return tuple(c for c in cautions() if c.when in wanted)
