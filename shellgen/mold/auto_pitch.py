"""`bolts.pitch_mm = "auto"`: the pitch that the bolted joint's calculation asks for, before the bolts are placed."""

from __future__ import annotations

import math
from collections.abc import Callable

from shellgen.job.defaults import bolt_pitch_mm
from shellgen.job.model import Settings
from shellgen.mold.faces import Assembled
from shellgen.mold.halves import Halves
from shellgen.mold.radial import Radial
from shellgen.pattern.pattern import Pattern


def with_pitch(
    settings: Settings, pattern: Pattern, lay: Callable[[Settings], Halves | Radial | Assembled]
) -> tuple[Settings, tuple[str, ...]]:
    """Settings with their pitch as a number, and a note where it was calculated.

    The room that the liquid presses on and the length of the seam are taken from a first layout at the usual pitch.
    lay : lays out the mold for given settings.
    Raises DesignError where no pitch holds.
    """
    if settings.bolts.pitch_mm != "auto":
        return settings, ()
    from shellgen.shop.joint.job import job_pitch_mm, pressed_area_mm2

    usual = bolt_pitch_mm(str(settings.bolts.size), float(pattern.bounds_mm.max() - pattern.bounds_mm.min()))
    laid = lay(_at(settings, usual))
    largest = job_pitch_mm(
        settings,
        pattern,
        pair=(laid.draped[0].cell.name, laid.draped[1].cell.name),
        area_mm2=pressed_area_mm2([(d.skins.inside, d.cell.parting) for d in laid.draped]),
        seam_mm=laid.seam_mm,
    )
    pitch = math.floor(2 * largest) / 2
    bare = ", gussets not counted on" if settings.flange.gussets else ""
    return _at(settings, pitch), (f"bolts.pitch_mm = 'auto': the joint allows {pitch:g} mm{bare}.",)


def _at(settings: Settings, pitch_mm: float) -> Settings:
    return settings.model_copy(update={"bolts": settings.bolts.model_copy(update={"pitch_mm": float(pitch_mm)})})
