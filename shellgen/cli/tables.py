"""The closing tables of a build: parts, rubber, checks, all from the manifest."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

STATUS_STYLE = {"pass": "green", "warn": "yellow", "fail": "bold white on red"}
PIPED_WIDTH = 140


def print_build(manifest: Mapping[str, Any], folder: Path, timings: Mapping[str, float]) -> None:
    """Print the closing tables of a build to stdout."""
    console = wide_console()
    for block in build_blocks(manifest):
        console.print(block)
    seconds = sum(timings.values())
    console.print(f"Written to {folder} in {seconds:.1f} s.", markup=False, highlight=False, soft_wrap=True)


def wide_console() -> Console:
    """A console on stdout that does not squeeze tables to 80 columns when it is piped."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else PIPED_WIDTH)


def build_blocks(manifest: Mapping[str, Any]) -> list[RenderableType]:
    """What is printed after a build, in order: parts, quantities, checks, and a warning if one failed."""
    blocks = [_parts(manifest), _rubber(manifest), _checks(manifest)]
    if failures(manifest):
        from rich.panel import Panel
        from rich.text import Text

        blocks.append(Panel(Text(failures(manifest)), title="DO NOT MAKE", style="bold red", expand=False))
    return blocks


def failures(manifest: Mapping[str, Any]) -> str:
    """One sentence that names the checks that failed; empty if none did.

    >>> failures({"checks": [{"title": "watertight", "status": "fail", "says": "half-a has a hole"}]})
    '1 check failed: watertight (half-a has a hole).'
    """
    failed = [check for check in manifest["checks"] if check["status"] == "fail"]
    if not failed:
        return ""
    listed = "; ".join(f"{check['title']} ({check['says'].rstrip('.')})" for check in failed)
    return f"{len(failed)} check{'s' if len(failed) > 1 else ''} failed: {listed}."


def figure(value: float | None, unit: str = "") -> str:
    """A figure for a table: three digits or so, with its unit; "-" where there is none.

    >>> figure(7.8312, "mm"), figure(12.0), figure(None), figure(1234.4, "cm3")
    ('7.83 mm', '12', '-', '1234 cm3')
    """
    if value is None:
        return "-"
    digits = 0 if abs(value) >= 1000 else 1 if abs(value) >= 100 else 2
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit}".strip()


def _parts(manifest: Mapping[str, Any]) -> RenderableType:
    from rich.table import Table

    table = Table(title=f"Parts of {manifest['job']['name']}", title_justify="left")
    table.add_column("part")
    table.add_column("kind")
    for heading in ("size, mm", "volume, cm3", "mass"):
        table.add_column(heading, justify="right")
    for part in manifest["parts"]:
        low, high = part["bbox_mm"]
        size = " x ".join(f"{b - a:.0f}" for a, b in zip(low, high, strict=True))
        table.add_row(part["name"], part["kind"], size, figure(part["volume_cm3"]), _mass(part["mass_g"]))
    return table


def _mass(mass_g: float) -> str:
    return figure(mass_g / 1000, "kg") if mass_g >= 1000 else figure(mass_g, "g")


def _rubber(manifest: Mapping[str, Any]) -> RenderableType:
    from rich.text import Text

    rubber = [part for part in manifest["parts"] if part["kind"] == "jacket"]
    volume, mass = sum(part["volume_cm3"] for part in rubber), sum(part["mass_g"] for part in rubber)
    said = f"Rubber: {figure(volume, 'cm3')}, {_mass(mass)}."
    fill = manifest["quantities"].get("stepped_fill_cm3", manifest["quantities"].get("fill_cm3"))
    if fill is not None:
        said += f" Of it {figure(fill, 'cm3')} fills what the shell could not draw over."
    bolts = len(manifest["bolts"])
    sizes = sorted({bolt["size"] for bolt in manifest["bolts"]})
    return Text(said + (f" Bolts: {bolts}, {', '.join(sizes)}." if bolts else "") + "\n")


def _checks(manifest: Mapping[str, Any]) -> RenderableType:
    from rich.table import Table
    from rich.text import Text

    table = Table(title="Checks on the finished solids", title_justify="left")
    table.add_column("")
    table.add_column("check")
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("limit", justify="right", no_wrap=True)
    table.add_column("says", ratio=1)
    for check in manifest["checks"]:
        status = Text(check["status"], style=STATUS_STYLE[check["status"]])
        value, limit = figure(check["value"], check["unit"]), figure(check["limit"], check["unit"])
        if check["limit"] == 0:  # what is counted are faults
            value, limit = "none amiss" if check["value"] == 0 else f"{value} amiss", "none"
        table.add_row(status, Text(check["title"]), value, limit, Text(check["says"]))
    return table
