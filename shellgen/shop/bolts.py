"""How far apart the bolts may be: a mold's joint assessed on its real outline, with curves to compare. mm, N."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import dist, isfinite
from typing import Any

import numpy as np

from shellgen.errors import DesignError
from shellgen.job.defaults import WASHER_TO_EDGE_MM, WASHER_TO_WALL_MM
from shellgen.mold.mold import Bolt, MoldDesign
from shellgen.shop.bounds import Bound, bounds
from shellgen.shop.joint.advice import in_words, washer_fits
from shellgen.shop.joint.hardware import Place
from shellgen.shop.joint.job import (
    JointOptions,
    job_bolt,
    job_limit_mm,
    job_loads,
    job_section,
    job_tightening,
    pressed_area_mm2,
)
from shellgen.shop.joint.loads import JointLoads
from shellgen.shop.joint.pitch import least_pitch_mm, row_opening_mm
from shellgen.shop.joint.report import JointReport, assess
from shellgen.shop.joint.section import JointSection
from shellgen.shop.joint.tighten import Tightening, tighten
from shellgen.shop.seam_path import SeamPath
from shellgen.shop.seams import seam_paths
from shellgen.shop.webs import as_built, webbed
from shellgen.standards.fasteners import BoltData, bolt

CURVE_POINTS = 31


@dataclass(frozen=True, slots=True)
class Curve:
    """Opening against pitch for one bolt size and flange thickness. `torque_nm` : what that joint bears."""

    size: str
    thickness_mm: float
    torque_nm: float
    pitch_mm: tuple[float, ...]
    opening_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class BoltsAnswer:
    """The joint of a mold: the report, the seams it was made on, what it was made from, curves and advice."""

    report: JointReport
    paths: tuple[SeamPath, ...]
    section: JointSection
    bolt: BoltData
    how: Tightening
    loads: JointLoads
    curves: tuple[Curve, ...]
    bounds: tuple[Bound, ...]
    says: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The report as plain data, with section, loads, curves, bounds and advice."""
        return {
            **self.report.as_dict(),
            "bolt": self.bolt.size,
            "flange": {
                "width_mm": self.section.first.width_mm,
                "thickness_mm": self.section.first.thickness_mm,
                "wall_mm": self.section.first.wall_mm,
                "modulus_mpa": self.section.first.modulus_mpa,
                "bolt_line_mm": round(self.section.bolt_line_mm, 3),
                "gussets": self.section.first.web_mm > 0,
            },
            "loads": {
                "pressure_mpa": round(self.loads.pressure_mpa, 6),
                "squeeze_mpa": round(self.loads.squeeze_mpa, 6),
                "weight_n": round(self.loads.weight_n, 2),
                "area_mm2": round(self.loads.area_mm2, 1),
                "seam_mm": round(self.loads.seam_mm, 2),
            },
            "curves": [
                {
                    "size": c.size,
                    "thickness_mm": c.thickness_mm,
                    "torque_nm": round(c.torque_nm, 3),
                    "pitch_mm": [round(p, 2) for p in c.pitch_mm],
                    "opening_mm": [round(o, 5) for o in c.opening_mm],
                }
                for c in self.curves
            ],
            "bounds": [
                {"what": b.what, "value": round(b.value, 4), "unit": b.unit, "says": b.says} for b in self.bounds
            ],
            "says": list(self.says),
        }


def answer(
    design: MoldDesign,
    options: JointOptions,
    sizes: Sequence[str] = (),
    thicknesses_mm: Sequence[float] = (),
) -> BoltsAnswer:
    """Assess the closing joint of a design, and draw up curves for the sizes and thicknesses asked.

    Raises DesignError where the joint cannot be: torque that crushes, bolts that do not reach, washers that overlap.
    """
    settings = design.settings
    paths = seam_paths(design)
    worst_heel = min(path.heel_mm for path in paths)
    section = job_section(settings, paths[0].line.pair, options, worst_heel)
    data, how = job_bolt(settings), job_tightening(settings, options)
    if how.washer == "large":
        washer_fits(section, data)
    lines = [path.line for path in paths]
    loads = job_loads(
        settings,
        design.pattern,
        area_mm2=pressed_area_mm2((piece.inside, piece.parting) for piece in design.pieces),
        seam_mm=sum(sum(line.spans_mm) or line.length_mm for line in lines),
        options=options,
    )
    places = [_place(b) for b in design.bolts]
    limit = job_limit_mm(settings, options)
    report = assess(section, data, lines, loads, how=how, limit_mm=limit, places=places)
    if section.first.web_mm > 0 or section.second.web_mm > 0:
        first, second = (replace(flange, web_mm=0.0) for flange in (section.first, section.second))
        plain = replace(section, first=first, second=second)
        without = assess(plain, data, lines, loads, how=how, limit_mm=limit, places=places)
        report = as_built(report, without, webbed(design, paths))
    curves = tuple(
        curve(section, bolt(size), how, loads.line_load_n_per_mm, thickness, reach_mm=1.15 * report.pitch.pitch_mm)
        for size in (sizes or (data.size,))
        for thickness in (thicknesses_mm or _around(section.first.thickness_mm))
    )
    return BoltsAnswer(
        report=report,
        paths=paths,
        section=section,
        bolt=data,
        how=how,
        loads=loads,
        curves=curves,
        bounds=bounds(design, loads, section.first.modulus_mpa),
        says=in_words(report, section, data, lines, loads, how),
    )


def curve(
    section: JointSection,
    data: BoltData,
    how: Tightening,
    load_n_per_mm: float,
    thickness_mm: float,
    reach_mm: float = 0.0,
) -> Curve:
    """Opening of an endless row against its pitch, for another bolt and thickness on the same wall.

    A flange too narrow for the bolt's washer is widened to take it; each bolt is driven as far as the flange bears.
    """
    if not (isfinite(thickness_mm) and thickness_mm > 0):
        raise DesignError(f"flange thickness {thickness_mm:g} mm must be above zero.")
    washer = data.washer_of(how.washer)
    width = max(section.first.width_mm, washer.od_mm + WASHER_TO_WALL_MM + WASHER_TO_EDGE_MM)
    line_mm = section.first.wall_mm + washer.od_mm / 2.0 + WASHER_TO_WALL_MM
    changed = replace(
        section,
        first=replace(section.first, thickness_mm=thickness_mm, width_mm=width),
        second=replace(section.second, thickness_mm=thickness_mm, width_mm=width),
        bolt_line_mm=line_mm,
    )
    ends = how.ends if how.ends[1] != "insert" or data.insert else ("washer", "washer")
    driven = tighten(changed, data, replace(how, ends=ends, hole_mm=data.hole_mm["medium"], torque_nm=None))
    least = least_pitch_mm(data, washer.od_mm)
    pitches = np.linspace(least, max(4.0 * least, 160.0, reach_mm), CURVE_POINTS)
    openings = [row_opening_mm(float(p), changed, driven.clamp, load_n_per_mm) for p in pitches]
    return Curve(data.size, thickness_mm, driven.torque_nm, tuple(map(float, pitches)), tuple(openings))


def _around(thickness_mm: float) -> tuple[float, ...]:
    """The flange as it is, 2 mm thinner and 2 and 4 mm thicker."""
    return tuple(t for t in (thickness_mm - 2, thickness_mm, thickness_mm + 2, thickness_mm + 4) if t >= 3)


def _place(b: Bolt) -> Place:
    """A designed bolt as the bolt list wants it; in an insert the grip ends at the face that the insert sits in."""
    data = bolt(b.size)
    grip = dist(*b.seats_mm)
    if b.ends[1] == "insert" and data.insert is not None:
        grip -= data.insert.depth_mm
    return Place(data, grip, b.ends, b.setup)
