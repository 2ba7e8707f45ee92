"""The whole joint assessed: every gap of every seam, the largest pitch, the bolt list. N, mm, MPa."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from shellgen.errors import DesignError
from shellgen.shop.joint.gaps import Gap, gaps_of
from shellgen.shop.joint.hardware import HardwareItem, Place, hardware_list
from shellgen.shop.joint.loads import JointLoads
from shellgen.shop.joint.pitch import Band, Pitch, bands, largest_pitch, least_pitch_mm
from shellgen.shop.joint.seam import SeamLine
from shellgen.shop.joint.section import JointSection
from shellgen.shop.joint.tighten import Tightened, Tightening, tighten
from shellgen.standards.fasteners import BoltData
from shellgen.standards.figures import figure


@dataclass(frozen=True, slots=True)
class JointReport:
    """Everything that is known of a joint. Forces N, stresses MPa, lengths mm."""

    gaps: tuple[Gap, ...]
    pitch: Pitch
    limit_mm: float
    tightened: Tightened
    bearing_allowed_mpa: float
    prying: float
    pressure_mpa: float
    line_load_n_per_mm: float
    bands: tuple[Band, ...]
    hardware: tuple[HardwareItem, ...]

    @property
    def worst(self) -> Gap:
        """The gap that opens most."""
        return max(self.gaps, key=lambda gap: gap.opening_mm)

    @property
    def holds(self) -> bool:
        """Whether every gap stays at or under the limit."""
        return self.worst.opening_mm <= self.limit_mm

    def as_dict(self) -> dict[str, Any]:
        """The report as plain data with stable keys, ready for JSON."""
        return {
            "gaps": [
                {
                    "pair": list(g.pair),
                    "kind": g.kind,
                    "span_mm": round(g.span_mm, 3),
                    "opening_mm": round(g.opening_mm, 5),
                    "contact_mpa": round(g.contact_mpa, 5),
                    "closed": round(g.closed, 4),
                    "bolt_n": round(g.bolt_n, 2),
                }
                for g in self.gaps
            ],
            "largest_pitch_mm": round(self.pitch.pitch_mm, 2),
            "governed_by": self.pitch.governs,
            "limit_mm": self.limit_mm,
            "torque_nm": round(self.tightened.torque_nm, 3),
            "most_torque_nm": round(self.tightened.most_torque_nm, 3),
            "preload_n": round(self.tightened.preload_n, 2),
            "kept_n": round(self.tightened.kept_n, 2),
            "bearing_mpa": round(self.tightened.bearing_mpa, 4),
            "bearing_allowed_mpa": self.bearing_allowed_mpa,
            "load_share": round(self.tightened.load_share, 4),
            "prying": round(self.prying, 4),
            "pressure_mpa": round(self.pressure_mpa, 6),
            "line_load_n_per_mm": round(self.line_load_n_per_mm, 5),
            "bands": [
                {"rule": b.rule, "low_mm": round(b.low_mm, 2), "high_mm": round(b.high_mm, 2), "how": b.how}
                for b in self.bands
            ],
            "hardware": [
                {
                    "item": h.item,
                    "size": h.size,
                    "count": h.count,
                    "length_mm": h.length_mm,
                    "standard": h.standard,
                    "setup": h.setup,
                }
                for h in self.hardware
            ],
        }


def assess(
    section: JointSection,
    bolt: BoltData,
    lines: Sequence[SeamLine],
    loads: JointLoads,
    *,
    how: Tightening | None = None,
    limit_mm: float | None = None,
    places: Sequence[Place] = (),
) -> JointReport:
    """Assess a joint: opening and contact of every gap on its real spans, largest pitch, bolt list.

    limit_mm : flash limit, 0.2 by default. places : bolts of the bolt list.
    Raises DesignError where bolts are nearer than their washers, a torque crushes, a bolt does not reach, or no
    pitch keeps the seam shut.
    """
    if not lines:
        raise DesignError("the joint has no bolts, so there is no gap to assess.")
    how = how or Tightening()
    limit = figure("flash limit") if limit_mm is None else limit_mm
    driven = tighten(section, bolt, how)
    load = loads.line_load_n_per_mm
    pitch = largest_pitch(section, bolt, driven.clamp, load, limit)
    gaps = tuple(gap for line in lines for gap in gaps_of(line, section, driven.clamp, load))
    return JointReport(
        gaps=gaps,
        pitch=pitch,
        limit_mm=limit,
        tightened=driven,
        bearing_allowed_mpa=min(section.first.bearing_mpa, section.second.bearing_mpa),
        prying=section.prying,
        pressure_mpa=loads.pressure_mpa,
        line_load_n_per_mm=load,
        bands=bands(bolt),
        hardware=hardware_list(places, how.washer, how.head),
    )


def auto_pitch_mm(
    section: JointSection,
    bolt: BoltData,
    loads: JointLoads,
    *,
    how: Tightening | None = None,
    limit_mm: float | None = None,
) -> float:
    """The pitch [mm] for `bolts.pitch_mm = "auto"`: the largest that holds, down to a whole millimetre.

    Not under the least pitch a spanner allows. Raises DesignError where none holds.
    """
    driven = tighten(section, bolt, how or Tightening())
    limit = figure("flash limit") if limit_mm is None else limit_mm
    pitch = largest_pitch(section, bolt, driven.clamp, loads.line_load_n_per_mm, limit)
    if pitch.governs == "none":
        raise DesignError(f"bolts.pitch_mm = 'auto' finds no pitch: {pitch.says}")
    return max(float(np.floor(pitch.pitch_mm)), least_pitch_mm(bolt, driven.seat_mm))
