"""What the coupon is made of: strips with a ladder of pitches, a key with a ladder of sockets, a tray of steps. mm."""

from __future__ import annotations

from dataclasses import dataclass, replace

from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.mold import Key, MoldDesign
from shellgen.shop.coupon.predict import opening_mm, weight_for
from shellgen.shop.joint.job import JointOptions, job_bolt, job_section, job_tightening
from shellgen.shop.joint.pitch import least_pitch_mm
from shellgen.shop.joint.seam import Clamp, SeamLine
from shellgen.shop.joint.section import JointSection
from shellgen.shop.joint.tighten import Tightened, Tightening, tighten
from shellgen.shop.seams import seam_paths
from shellgen.standards.fasteners import BoltData

LADDER = (1.0, 1.5, 2.2)  # spans of the strips, times the shortest; common practice, no source
LONGEST_MM = 240.0  # of a strip where the job names no bed; common practice, no source
CLEARANCES_MM = (0.1, 0.2, 0.3, 0.4, 0.5)
STEP_SHARES = (0.5, 0.75, 1.0, 1.25, 1.5)  # steps of the tray, times the rubber's thickness
EAR_MM = 10.0  # length along the strip of the tabs that the weight hangs on
TIE_HOLE_MM = 4.5  # for a cable tie


@dataclass(frozen=True, slots=True)
class StripPlan:
    """Two flat strips with the job's flange face and thickness, bolted at growing pitches.

    line : spans and ends. section : of the strips; gussets are left out, as a strip has no wall to lean them on.
    weight_kg : what is hung midway in one span after the other. driven : the bolts.
    """

    line: SeamLine
    section: JointSection
    bolt: BoltData
    how: Tightening
    driven: Tightened
    hole_mm: float
    weight_kg: float

    @property
    def width_mm(self) -> float:
        """Across the strip: wall and flange."""
        return min(self.section.first.face_mm, self.section.second.face_mm)

    @property
    def clamp(self) -> Clamp:
        """A bolt as it is just after tightening."""
        return Clamp(self.driven.preload_n, self.driven.bolt_n_per_mm, self.driven.seat_mm)

    def predicted_mm(self, modulus_mpa: float | None = None) -> tuple[float, ...]:
        """Opening of each span under the weight, at the section's modulus or another one."""
        section = self.section
        if modulus_mpa is not None:
            section = replace(
                section,
                first=replace(section.first, modulus_mpa=modulus_mpa),
                second=replace(section.second, modulus_mpa=modulus_mpa),
            )
        spans = range(len(self.line.spans_mm))
        return tuple(opening_mm(self.line, section, self.clamp, span, self.weight_kg) for span in spans)


@dataclass(frozen=True, slots=True)
class KeyPlan:
    """One key of the job, to try in sockets of growing clearance."""

    kind: str
    radius_mm: float
    height_mm: float
    clearances_mm: tuple[float, ...]
    asked_mm: float


@dataclass(frozen=True, slots=True)
class TrayPlan:
    """A tray to fill level with rubber: floors at growing depth, to judge thickness and measure what comes out."""

    depths_mm: tuple[float, ...]
    floor_mm: float
    asked_mm: float


@dataclass(frozen=True, slots=True)
class CouponPlan:
    """All test pieces of a job."""

    job: str
    material: str
    strips: StripPlan
    keys: KeyPlan | None
    tray: TrayPlan


def coupon_plan(design: MoldDesign, options: JointOptions) -> CouponPlan:
    """Plan the coupon of a designed mold.

    Raises DesignError where no ladder of three spans fits the longest strip that can be printed.
    """
    settings = design.settings
    paths = seam_paths(design)
    section = job_section(settings, paths[0].line.pair, options, min(path.heel_mm for path in paths))
    return CouponPlan(
        job=settings.name,
        material=settings.shell.material,
        strips=_strips(settings, section, options),
        keys=_keys(settings, design.keys),
        tray=_tray(settings),
    )


def _strips(settings: Settings, section: JointSection, options: JointOptions) -> StripPlan:
    bolt = job_bolt(settings)
    how = replace(job_tightening(settings, options), ends=("washer", "washer"))
    flat = replace(section, first=replace(section.first, web_mm=0.0), second=replace(section.second, web_mm=0.0))
    driven = tighten(flat, bolt, how)
    bed = settings.limits.bed_mm
    longest = LONGEST_MM if bed is None else max(bed[0], bed[1]) - 10.0
    end = driven.seat_mm / 2.0 + 3.0
    least = max(least_pitch_mm(bolt, driven.seat_mm), EAR_MM + driven.seat_mm + 2.0)
    first = (longest - 2 * end) / sum(LADDER)
    if first < least:
        need = least * sum(LADDER) + 2 * end
        raise DesignError(
            f"limits.bed_mm: a strip of {longest:.0f} mm is too short for three gaps of {bolt.size}; it needs "
            f"{need:.0f}. Give the coupon a longer bed or take a smaller bolt."
        )
    spans = tuple(float(round(first * share)) for share in LADDER)
    line = SeamLine(("strip A", "strip B"), spans, (end, end))
    clamp = Clamp(driven.preload_n, driven.bolt_n_per_mm, driven.seat_mm)
    return StripPlan(
        line=line,
        section=flat,
        bolt=bolt,
        how=how,
        driven=driven,
        hole_mm=bolt.hole_mm[settings.bolts.fit],
        weight_kg=weight_for(line, flat, clamp),
    )


def _keys(settings: Settings, keys: tuple[Key, ...]) -> KeyPlan | None:
    if not keys:
        return None
    key = keys[0]
    return KeyPlan(key.kind, key.radius_mm, key.height_mm, CLEARANCES_MM, settings.flange.key_clearance_mm)


def _tray(settings: Settings) -> TrayPlan:
    asked = settings.jacket.thickness_mm
    depths = sorted({max(0.5, round(2 * share * asked) / 2) for share in STEP_SHARES})
    return TrayPlan(tuple(depths), max(2.0, settings.shell.wall_mm / 2.0), asked)
