"""Materials of shells, jackets and casts: density, stiffness and what they bear under a washer.

Values are defaults for planning; the maker's data sheet or a measured coupon wins. Each row names its source.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import cache
from typing import Literal

from shellgen.standards.table import UnknownName, rows

Use = Literal["shell", "rubber", "cast", "hardware"]


@dataclass(frozen=True, slots=True)
class Material:
    """One material. Density in g/cm3, Young's modulus with the range it is found in, allowed bearing stress in MPa.

    `shrink_percent` : linear, while curing or printing. `how` : how the row was confirmed (see fasteners).
    """

    name: str
    title: str
    use: Use
    density_g_cm3: float
    modulus_mpa: float
    modulus_low_mpa: float
    modulus_high_mpa: float
    bearing_mpa: float
    shrink_percent: float
    source: str
    how: str


@cache
def materials() -> tuple[Material, ...]:
    """Every material of the table."""
    return tuple(
        Material(
            name=entry["name"],
            title=entry["title"],
            use=entry["use"],  # type: ignore[arg-type]
            density_g_cm3=float(entry["density_g_cm3"]),
            modulus_mpa=float(entry["modulus_mpa"]),
            modulus_low_mpa=float(entry["modulus_low_mpa"]),
            modulus_high_mpa=float(entry["modulus_high_mpa"]),
            bearing_mpa=float(entry["bearing_mpa"]),
            shrink_percent=float(entry["shrink_percent"]),
            source=entry["source"],
            how=entry["how"],
        )
        for entry in rows("materials")
    )


def material_names(use: Use | None = None) -> tuple[str, ...]:
    """Names in the table, of one use if given."""
    return tuple(m.name for m in materials() if use is None or m.use == use)


def material(name: str) -> Material:
    """One material by name.

    Raises UnknownName for a name that is not in the table, with the nearest one.
    """
    for entry in materials():
        if entry.name == name:
            return entry
    near = difflib.get_close_matches(name.lower(), material_names(), n=1, cutoff=0.4)
    hint = f" Did you mean '{near[0]}'?" if near else ""
    raise UnknownName(f"material '{name}' is not in the table ({', '.join(material_names())}).{hint}")
