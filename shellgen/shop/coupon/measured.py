"""The table that is filled in at the bench, and what it says about the material and the clearances. mm, MPa."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

from scipy.optimize import minimize_scalar

from shellgen.errors import ShellgenError
from shellgen.shop.coupon.plan import CouponPlan
from shellgen.standards.figures import figure

COLUMNS = ("spot", "what", "nominal_mm", "predicted_mm", "measured")
YES, NO = ("y", "yes", "true", "1"), ("n", "no", "false", "0")
MOST_SCATTER_PERCENT = 35.0  # beyond that a modulus is not to be relied on; common practice, no source
FACTOR = 20.0  # a modulus further than this from the table's is no measurement of this strip
READING_MM = 0.025  # half a step of a common feeler set; common practice, no source
MODEL_SHARE = 0.05  # what tabs, holes and uneven print leave open; common practice, no source
LARGEST_FILE_BYTES = 200_000


class TableError(ShellgenError):
    """The filled-in table cannot be read or makes no sense."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One row: a spot on a test piece. predicted_mm : None where nothing is predicted."""

    name: str
    what: str
    nominal_mm: float
    predicted_mm: float | None


@dataclass(frozen=True, slots=True)
class Calibration:
    """What was learnt; None where the table says nothing.

    modulus_mpa : of the flange; scatter_percent : RMS misfit of the openings over their RMS. openings_mm : measured and
    fitted opening by spot. key_clearance_mm : smallest that went home. jacket_clearance_mm : gap that takes up the
    thickest rubber found.
    """

    modulus_mpa: float | None
    scatter_percent: float | None
    openings_mm: tuple[tuple[str, float, float], ...]
    key_clearance_mm: float | None
    jacket_clearance_mm: float | None
    says: tuple[str, ...]

    @property
    def reliable(self) -> bool:
        """Whether the openings lie near enough to those of one modulus."""
        return self.scatter_percent is not None and self.scatter_percent <= MOST_SCATTER_PERCENT


def spots(plan: CouponPlan) -> tuple[Spot, ...]:
    """Every row of the table, in its order."""
    out = [
        Spot(f"gap {n}", f"opening under {plan.strips.weight_kg:g} kg, mm by feeler gauge", span, predicted)
        for n, (span, predicted) in enumerate(
            zip(plan.strips.line.spans_mm, plan.strips.predicted_mm(), strict=True), 1
        )
    ]
    if plan.keys is not None:
        for play in plan.keys.clearances_mm:
            out.append(Spot(f"socket {play:g}", "the key goes home by hand: y or n", play, None))
    for depth in plan.tray.depths_mm:
        out.append(Spot(f"step {depth:g}", "rubber brushed or poured to this depth, mm by caliper", depth, depth))
    return tuple(out)


def table_text(plan: CouponPlan) -> str:
    """The table as CSV with an empty column to fill in."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for spot in spots(plan):
        predicted = "" if spot.predicted_mm is None else f"{spot.predicted_mm:.3f}"
        writer.writerow([spot.name, spot.what, f"{spot.nominal_mm:g}", predicted, ""])
    return out.getvalue()


def read_table(path: Path, plan: CouponPlan) -> dict[str, str]:
    """What was filled in, by spot; empty cells are left out.

    Raises TableError, naming the row, for another coupon's table, a missing column or an unreadable file.
    """
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise TableError(f"{path.name}: is too large to be the coupon's table.")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise TableError(f"{path.name}: is not text. Save the table as CSV in UTF-8.") from None
    except OSError as error:
        raise TableError(f"{path}: cannot be read: {error.strerror or error}.") from None
    separator = ";" if text.split("\n", 1)[0].count(";") > text.split("\n", 1)[0].count(",") else ","
    reader = csv.DictReader(io.StringIO(text), delimiter=separator)
    missing = [c for c in ("spot", "nominal_mm", "measured") if c not in (reader.fieldnames or [])]
    if missing:
        raise TableError(f"{path.name}: column '{missing[0]}' is missing. Fill in the table that the coupon came with.")
    known = {spot.name: spot for spot in spots(plan)}
    found: dict[str, str] = {}
    for number, row in enumerate(reader, 2):
        name, value = (row["spot"] or "").strip(), (row["measured"] or "").strip()
        if not value:
            continue
        spot = known.get(name)
        nominal = _number(row["nominal_mm"] or "", path, number, name)
        if spot is None or abs(spot.nominal_mm - nominal) > 0.01:
            raise TableError(
                f"{path.name}, line {number}: '{name}' ({nominal:g} mm) is not on this job's coupon. Print the coupon "
                "again after changing the job, and fill in its own table."
            )
        if name in found:
            raise TableError(f"{path.name}, line {number}: '{name}' is there twice. Keep one row.")
        found[name] = value
    if not found:
        raise TableError(f"{path.name}: nothing is filled in. Write what you measured into the column 'measured'.")
    return found


def calibrate(plan: CouponPlan, filled: dict[str, str], table: Path) -> Calibration:
    """Fit the modulus to the openings, pick the clearances.

    Openings under the thinnest feeler (0.05 mm) are not used. Raises TableError for values that cannot be.
    """
    openings: list[tuple[int, float]] = []
    homes: dict[float, bool] = {}
    steps: list[tuple[float, float]] = []
    for number, spot in enumerate(spots(plan), 2):
        if spot.name not in filled:
            continue
        value = filled[spot.name]
        if spot.name.startswith("socket"):
            homes[spot.nominal_mm] = _yes(value, table, spot.name)
            continue
        measured = _number(value, table, number, spot.name)
        if measured < 0 or measured > 100:
            raise TableError(f"{table.name}: {spot.name} = {measured:g} mm cannot be. Write millimetres, 0 or more.")
        if spot.name.startswith("gap"):
            openings.append((int(spot.name.split()[1]) - 1, measured))
        else:
            steps.append((spot.nominal_mm, measured))
    says: list[str] = []
    modulus, scatter, fitted = _modulus(plan, openings, table, says)
    key = _key_clearance(plan, homes, says)
    jacket = _jacket_clearance(steps, says)
    return Calibration(modulus, scatter, fitted, key, jacket, tuple(says))


def _modulus(
    plan: CouponPlan, openings: list[tuple[int, float]], table: Path, says: list[str]
) -> tuple[float | None, float | None, tuple[tuple[str, float, float], ...]]:
    used = [(span, opening) for span, opening in openings if opening >= figure("least step")]
    if not used:
        if openings:
            says.append(f"No gap opened {figure('least step'):g} mm or more: the modulus stays as it is in the table.")
        return None, None, ()
    start = plan.strips.section.first.modulus_mpa

    def misfit(log_factor: float) -> float:
        predicted = plan.strips.predicted_mm(start * math.exp(log_factor))
        return sum(
            ((predicted[span] - opening) / math.hypot(READING_MM, MODEL_SHARE * opening)) ** 2 for span, opening in used
        )

    reach = math.log(FACTOR)
    found = minimize_scalar(misfit, bounds=(-reach, reach), method="bounded", options={"xatol": 1e-4})
    if abs(found.x) > 0.98 * reach:
        raise TableError(
            f"{table.name}: the openings fit no modulus within a factor {FACTOR:g} of the table's {start:g} MPa. Check "
            f"the weight ({plan.strips.weight_kg:g} kg), the torque and the unit (mm)."
        )
    modulus = start * math.exp(float(found.x))
    predicted = plan.strips.predicted_mm(modulus)
    fitted = tuple((f"gap {span + 1}", opening, predicted[span]) for span, opening in used)
    missed = math.fsum((p - m) ** 2 for _, m, p in fitted)
    scatter = 100.0 * math.sqrt(missed / math.fsum(m**2 for _, m, _ in fitted))
    says.append(
        f"Modulus {modulus:.0f} MPa from {len(used)} gaps (the table had {start:g}); the openings scatter "
        f"{scatter:.0f} % about it."
    )
    if scatter > MOST_SCATTER_PERCENT:
        says.append(
            "That is too much to rely on: the openings do not grow with the gaps as a strip's do. Measure again, "
            "nearest to the middle of each gap, with the weight hanging free."
        )
    return modulus, scatter, fitted


def _key_clearance(plan: CouponPlan, homes: dict[float, bool], says: list[str]) -> float | None:
    if not homes or plan.keys is None:
        return None
    good = sorted(play for play, home in homes.items() if home)
    if not good:
        says.append(f"The key went home in no socket up to {max(homes):g} mm: dress the print, or scale it.")
        return None
    best = good[0]
    if any(not home for play, home in homes.items() if play > best):
        says.append(f"A wider socket than {best:g} mm refused the key: clean it and try again before using {best:g}.")
    says.append(
        f"Key clearance {best:g} mm: the smallest socket that takes the key (the job has {plan.keys.asked_mm:g})."
    )
    return best


def _jacket_clearance(steps: list[tuple[float, float]], says: list[str]) -> float | None:
    if not steps:
        return None
    over = max(measured - nominal for nominal, measured in steps)
    clearance = max(0.0, math.ceil(over * 10.0 - 1e-9) / 10.0)
    says.append(
        f"Rubber came out up to {max(over, 0.0):.2f} mm too thick: a clearance of {clearance:g} mm takes that up."
    )
    return clearance


def _number(text: str, path: Path, line: int, name: str) -> float:
    try:
        value = float(text.strip().replace(",", ".").removesuffix("mm"))
    except ValueError:
        raise TableError(f"{path.name}, line {line}: {name} = '{text}' is not a number of millimetres.") from None
    if not math.isfinite(value):
        raise TableError(f"{path.name}, line {line}: {name} = '{text}' is not a number of millimetres.")
    return value


def _yes(text: str, path: Path, name: str) -> bool:
    word = text.strip().lower()
    if word in YES or word in NO:
        return word in YES
    raise TableError(f"{path.name}: {name} = '{text}': write y if the key goes home by hand, n if not.")
