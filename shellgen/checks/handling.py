"""Each rigid part fits the printer's bed, and the closed mold can be lifted."""

from __future__ import annotations

from shellgen.checks.bench import Bench
from shellgen.checks.finding import Finding, Status
from shellgen.export.layout import laid_size_mm
from shellgen.standards.materials import material

BED_TITLE = "parts fit the bed"
LIFT_TITLE = "closed mold can be lifted"
BED_MM = (250.0, 250.0, 250.0)  # a usual printer; common practice, no source
LIFT_KG = 23.0  # one person's load; NIOSH lifting equation, load constant, 1994
RUBBER = "silicone"


def check_bed(bench: Bench) -> Finding:
    """Each rigid part's box, laid flat on its mating face, against the bed; turned on its side if flat it does not fit.

    Only warns unless the job gives `limits.bed_mm`.
    """
    asked = bench.mold.design.settings.limits.bed_mm
    bed = asked or BED_MM
    faults, turned, worst = [], [], 0.0
    for part in bench.rigid:
        size = laid_size_mm(part)
        share = max(s / b for s, b in zip(sorted(size), sorted(bed), strict=True))
        worst = max(worst, float(share))
        words = " × ".join(f"{s:.0f}" for s in size)
        if share > 1.0:
            faults.append(f"{part.name} ({words} mm)")
        elif size[2] > bed[2] or max(size[:2]) > max(bed[:2]) or min(size[:2]) > min(bed[:2]):
            turned.append(f"{part.name} ({words} mm)")
    words = " × ".join(f"{b:g}" for b in bed)
    says = f"too large for a bed of {words} mm: {', '.join(faults)}" if faults else f"all fit a bed of {words} mm"
    if turned:
        says += f"; only on their side: {', '.join(turned)}"
    status: Status = "pass" if not faults else "fail" if asked else "warn"
    return Finding("bed", BED_TITLE, status, 100.0 * worst, 100.0, "%", says)


def check_lift(bench: Bench) -> Finding:
    """Mass of all parts together, empty. Only warns unless the job gives `limits.lift_kg`."""
    settings = bench.mold.design.settings
    density = {True: material(RUBBER).density_g_cm3, False: material(settings.shell.material).density_g_cm3}
    masses = {p.name: p.volume_mm3 * density[p.kind == "jacket"] / 1e6 for p in bench.mold.parts}
    total, limit = sum(masses.values()), settings.limits.lift_kg or LIFT_KG
    heaviest = max(masses, key=lambda name: masses[name])
    says = f"{total:.2f} kg together and empty; the heaviest part is {heaviest} with {masses[heaviest]:.2f} kg"
    status: Status = "pass" if total <= limit else "fail" if settings.limits.lift_kg else "warn"
    return Finding("lift", LIFT_TITLE, status, total, limit, "kg", says)
