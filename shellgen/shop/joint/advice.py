"""What to change, in words: closer bolts, a thicker flange, gussets, a rib, large washers; each is tried first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from shellgen.errors import DesignError
from shellgen.shop.joint.gaps import gaps_of
from shellgen.shop.joint.loads import JointLoads
from shellgen.shop.joint.report import JointReport
from shellgen.shop.joint.seam import SeamLine
from shellgen.shop.joint.section import JointSection
from shellgen.shop.joint.tighten import Tightening, tighten
from shellgen.standards.fasteners import BoltData
from shellgen.standards.figures import figure

STEP_MM = 0.5


@dataclass(frozen=True, slots=True)
class Remedies:
    """Changes that bring the worst gap under the limit, each alone; None where it cannot do it alone.

    thickness_mm : of both flanges. rib_mm : height of a rib along the edge. gussets_mm : opening with gussets as high
    as the flange is wide. washers_nm : torque that large washers bear, washers_mm : opening with it.
    """

    pitch_mm: float
    thickness_mm: float | None
    rib_mm: float | None
    gussets_mm: float
    washers_nm: float
    washers_mm: float


def worst_opening_mm(
    section: JointSection, bolt: BoltData, how: Tightening, lines: Sequence[SeamLine], load_n_per_mm: float
) -> float:
    """The widest opening of all gaps [mm]."""
    clamp = tighten(section, bolt, how).clamp
    return max(gap.opening_mm for line in lines for gap in gaps_of(line, section, clamp, load_n_per_mm))


def remedies(
    report: JointReport,
    section: JointSection,
    bolt: BoltData,
    lines: Sequence[SeamLine],
    loads: JointLoads,
    how: Tightening,
) -> Remedies:
    """Try each change on the real spans."""
    limit, load = report.limit_mm, loads.line_load_n_per_mm

    def opening(changed: JointSection, driven: Tightening = how) -> float:
        return worst_opening_mm(changed, bolt, driven, lines, load)

    now = max(section.first.thickness_mm, section.second.thickness_mm)
    thickness = _least(
        [now + k * STEP_MM for k in range(60)], lambda t: opening(_both(section, thickness_mm=t)) <= limit
    )
    rib = _least([float(h) for h in range(41)], lambda h: opening(_both(section, rib_mm=h)) <= limit)
    width = min(section.first.width_mm, section.second.width_mm)
    wide = replace(how, washer="large", torque_nm=None)
    narrowest = min(lines, key=lambda line: min(line.spans_mm, default=1e9))
    fits = min(narrowest.spans_mm, default=1e9) >= bolt.large_washer.od_mm
    return Remedies(
        pitch_mm=report.pitch.pitch_mm,
        thickness_mm=thickness,
        rib_mm=rib,
        gussets_mm=opening(_both(section, web_mm=width)),
        washers_nm=tighten(section, bolt, wide).torque_nm,
        washers_mm=opening(section, wide) if fits else float("inf"),
    )


def _least(values: list[float], holds: Callable[[float], bool]) -> float | None:
    """The first of growing values that holds, where all after it do; None if the last does not."""
    if not holds(values[-1]):
        return None
    low, high = 0, len(values) - 1
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(values[middle]) else (middle + 1, high)
    return values[low]


def in_words(
    report: JointReport,
    section: JointSection,
    bolt: BoltData,
    lines: Sequence[SeamLine],
    loads: JointLoads,
    how: Tightening,
) -> tuple[str, ...]:
    """Sentences: how the joint stands, what governs it, and what to change where it does not hold."""
    worst, limit, driven = report.worst, report.limit_mm, report.tightened
    place = f"between two bolts {worst.span_mm:.0f} mm apart"
    if worst.kind == "end":
        place = f"at an end, {worst.span_mm:.0f} mm beyond the last bolt"
    said = [
        f"The widest opening is {worst.opening_mm:.3f} mm, {place} ({worst.pair[0]}-{worst.pair[1]}); "
        f"the limit is {limit:g} mm.",
        f"Tighten to {driven.torque_nm:.2f} N m: {driven.preload_n:.0f} N a bolt, {driven.bearing_mpa:.1f} MPa under "
        f"its seat where the flange bears {report.bearing_allowed_mpa:g}. Creep leaves about {driven.kept_n:.0f} N.",
    ]
    widest = max((span for line in lines for span in line.spans_mm), default=0.0)
    need = report.line_load_n_per_mm * widest * report.prying
    verb = "is enough for" if driven.kept_n >= need else "is LESS than"
    said.append(
        f"With prying ({report.prying:.2f}) the widest gap asks {need:.0f} N of its bolts: what is kept {verb} that."
    )
    if report.holds:
        if report.pitch.governs == "none":
            said.append(f"The joint holds, but with nothing to spare: {report.pitch.says}")
        else:
            said.append(
                f"The joint holds. Bolts may stand up to {report.pitch.pitch_mm:.0f} mm apart: {report.pitch.says}."
            )
    else:
        fixes = remedies(report, section, bolt, lines, loads, how)
        said.append(
            f"The joint does NOT hold. Change one of these: {'; '.join(_changes(report, fixes, section, bolt))}."
        )
    least = min((span for line in lines for span in line.spans_mm), default=1e9)
    if least < bolt.spanner_pitch_mm - 0.5:
        said.append(
            f"Two bolts stand {least:.0f} mm apart; a spanner wants {bolt.spanner_pitch_mm:g} mm. Use a larger pitch "
            "or a socket wrench."
        )
    return tuple(said)


def _changes(report: JointReport, fixes: Remedies, section: JointSection, bolt: BoltData) -> list[str]:
    out = []
    if fixes.pitch_mm > 0:
        out.append(f"closer bolts, bolts.pitch_mm = {int(fixes.pitch_mm)}")
    if fixes.thickness_mm is not None:
        out.append(f"a thicker flange, flange.thickness_mm = {fixes.thickness_mm:g}")
    if section.first.web_mm == 0:
        verdict = "enough" if fixes.gussets_mm <= report.limit_mm else "not enough alone"
        out.append(f"gussets, flange.gussets = true ({fixes.gussets_mm:.3f} mm then, {verdict})")
    if fixes.washers_mm <= report.limit_mm:
        out.append(f"large washers ({bolt.large_washer.od_mm:g} mm) driven to {fixes.washers_nm:.2f} N m")
    if fixes.rib_mm is not None and fixes.rib_mm > 0:
        out.append(f"a rib {fixes.rib_mm:.0f} mm high along the flange's edge")
    return out or ["nothing alone is enough; take a stiffer material or several of: closer bolts, thickness, gussets"]


def _both(section: JointSection, **changes: float) -> JointSection:
    return replace(section, first=replace(section.first, **changes), second=replace(section.second, **changes))


def washer_fits(section: JointSection, bolt: BoltData) -> None:
    """Refuse large washers that reach over the flange's edge or into the wall.

    Raises DesignError with the flange width that takes them.
    """
    od = bolt.large_washer.od_mm
    room = 2.0 * min(section.heel_mm, section.bolt_line_mm - max(section.first.wall_mm, section.second.wall_mm))
    if od > room:
        need = od + 2.0 * figure("washer edge")
        raise DesignError(
            f"large washers of {bolt.size} are {od:g} mm wide, the flange has room for {room:.1f} mm about its bolt "
            f"line. Use flange.width_mm = {need:.0f} or more with the bolts midway, or plain washers."
        )
