"""Checks on the STEP files as written: each is read back and measured, nothing is taken from the writer's own books."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np

from shellgen.checks.finding import Finding, Status
from shellgen.checks.step_measure import StepMeasure, measure
from shellgen.checks.step_reread import graph_on, read_solids
from shellgen.checks.step_volume import volume_mm3
from shellgen.envelope.spline_fit import FitReport
from shellgen.envelope.spline_fit_graph import SplineGraph
from shellgen.errors import KernelError
from shellgen.export.step import StepFiles
from shellgen.mold.mold import Mold, MoldDesign, Part
from shellgen.solid.recipe import PieceRecipe, PlateRecipe, Role

EDGE_MM = 0.1
SAME_MM = 1e-3  # between the mating faces of two halves
STATIONS = 400
FACETED_SHARE = 0.003
MAX_FACTOR = 4.0  # the greatest distance may be this many tolerances


def step_findings(mold: Mold, folder: Path, files: StepFiles) -> tuple[Finding, ...]:
    """All checks on the STEP files in a folder, in a fixed order. files : as `write_steps` returned it."""
    recipes: dict[str, PieceRecipe | PlateRecipe] = {p.name: p for p in mold.design.pieces}
    recipes.update({p.name: p for p in mold.design.plates})
    parts = {p.name: p for p in mold.parts}
    measures: list[StepMeasure] = []
    unread: dict[str, str] = dict(files.refused)
    mesh_mm = mold.design.settings.outputs.mesh_tolerance_mm
    for name, recipe in recipes.items():
        if name in files.paths and name not in files.facets:
            try:
                path, cut, webless = folder / files.paths[name], _engraved(files, name), _webless(files, name)
                measures.append(measure(path, recipe, parts[name], mesh_mm, webless, engraved=cut))
            except KernelError as error:
                unread[name] = str(error)
    written = _written(unread, len(recipes), files, mold.design)
    if files.facets:
        written = (*written, _facets(folder, files, parts))
    if not measures:
        return written
    tolerance = mold.design.settings.outputs.step_tolerance_mm
    skinned = any(m.mating_mm2 is not None or m.stepped for m in measures)
    return (
        *written,
        _assembly(folder, files),
        _sound(measures),
        _lines(measures),
        _faces(measures),
        _volume(measures),
        _holes(measures),
        _bores(measures),
        _edges(measures),
        _mating(measures),
        *((_tolerance(measures, tolerance), _greatest(measures, tolerance)) if skinned else ()),
    )


def _engraved(files: StepFiles, name: str) -> bool:
    """Whether a piece's file has its labels."""
    return name in files.fits and files.fits[name].engraved


def _webless(files: StepFiles, name: str) -> list[int]:
    """Numbers of the gussets that a piece's file has none of."""
    return [web.number for web in files.fits[name].left_out] if name in files.fits else []


def _listed(id_: str, title: str, faults: list[str], unit: str, otherwise: str, bad: Status = "fail") -> Finding:
    """A finding on a count of faults, none allowed."""
    status: Status = bad if faults else "pass"
    says = "; ".join(faults) or otherwise
    return Finding(id_, title, status, float(len(faults)), 0.0, unit, says)


def _written(unread: dict[str, str], count: int, files: StepFiles, design: MoldDesign) -> tuple[Finding, ...]:
    """Parts without a STEP of true faces, and what the job's STEP files have none of."""
    facets = files.facets
    faults = [
        f"no STEP of {name}: {why}" if name not in facets else f"{name} is written in {facets[name]} facets: {why}"
        for name, why in unread.items()
    ]
    faults += [
        f"{name} is written without {web.says}"
        for name, fit in files.fits.items()
        if name not in unread
        for web in fit.left_out
    ]
    recipes: tuple[PieceRecipe | PlateRecipe, ...] = (*design.pieces, *design.plates)
    plain = [
        r.name
        for r in recipes
        if not (r.name in facets or _engraved(files, r.name)) and any(f.role is Role.LABEL for f in r.features)
    ]
    says = f"all {count} are written" + (f", without their engraved labels (on {', '.join(plain)})" if plain else "")
    return (_listed("step-written", "STEP of every rigid part", faults, "parts", says, "warn"),)


def _facets(folder: Path, files: StepFiles, parts: dict[str, Part]) -> Finding:
    """Parts in facets, read back: worst share by which a solid's volume differs from its mesh's."""
    worst, says = 0.0, ""
    for name in files.facets:
        solids = read_solids(folder / files.paths[name])
        off = abs(sum(volume_mm3(s, graph_on) for s in solids) / parts[name].volume_mm3 - 1.0)
        off = off if len(solids) == 1 else 1.0
        if off >= worst:
            worst, says = off, f"{name} holds {100 * off:.3f} % more or less than its mesh, in {len(solids)} solid"
    status: Status = "pass" if worst <= FACETED_SHARE else "fail"
    title = "STEP parts in facets as their meshes"
    return Finding("step-facets", title, status, 100 * worst, 100 * FACETED_SHARE, "%", says)


def _assembly(folder: Path, files: StepFiles) -> Finding:
    """Solids in the assembly file, counted in its text."""
    found, wanted = 0, len(files.paths)
    if files.assembly is not None:
        text = (folder / files.assembly).read_text(encoding="ascii", errors="replace")
        found = text.count("MANIFOLD_SOLID_BREP(")
    says = f"{files.assembly} holds {found} solids for {wanted} parts"
    status: Status = "pass" if found == wanted else "fail"
    return Finding("step-assembly", "STEP assembly holds every part written", status, found, wanted, "solids", says)


def _sound(measures: list[StepMeasure]) -> Finding:
    faults = []
    for m in measures:
        if m.counts is None:
            faults.append(f"{m.part} holds {m.solids} solids")
        elif not m.valid or not m.counts.closed:
            faults.append(f"{m.part} is not {'closed' if m.valid else 'valid'}")
    return _listed("step-valid", "STEP solids valid", faults, "parts", "each file read back is one valid, closed solid")


def _lines(measures: list[StepMeasure]) -> Finding:
    known = [(m.part, m.lines) for m in measures if m.lines is not None]
    faults = [
        f"{part}: {lines.odd} of {lines.drawn} lines do not leave it as often as they enter"
        + (f", {lines.blind} skins cannot be searched" if lines.blind else "")
        for part, lines in known
        if not lines.sound
    ]
    drawn = sum(lines.drawn for _, lines in known)
    return _listed(
        "step-lines", "STEP solids closed to lines", faults, "parts", f"{drawn} lines leave as often as they enter"
    )


def _faces(measures: list[StepMeasure]) -> Finding:
    most = max(measures, key=lambda m: 0 if m.counts is None else m.counts.faces - m.faces_limit)
    faces, limit = 0 if most.counts is None else most.counts.faces, most.faces_limit
    status: Status = "pass" if faces <= limit else "warn"
    says = f"{most.part} has {faces}, the nearest to its limit"
    return Finding("step-faces", "STEP faces few", status, faces, limit, "faces", says)


def _volume(measures: list[StepMeasure]) -> Finding:
    """Worst difference between a STEP solid and its mesh, by the share that is allowed."""
    known = [(abs(m.volume_off) / m.volume_limit, m.volume_off, m) for m in measures if m.volume_off is not None]
    if not known:
        return Finding("step-volume", "STEP volumes as the meshes'", "fail", None, None, "%", "no solid to measure")
    share, off, m = max(known, key=lambda k: k[0])
    says = f"{m.part} holds {100 * off:+.3f} % more than its mesh, labels allowed for"
    status: Status = "pass" if share <= 1 else "fail"
    limit = 100 * m.volume_limit
    return Finding("step-volume", "STEP volumes as the meshes'", status, 100 * abs(off), limit, "%", says)


def _holes(measures: list[StepMeasure]) -> Finding:
    faults = [
        f"{m.part} has {m.counts.genus} through holes, its mesh {m.genus}"
        for m in measures
        if m.counts is not None and m.counts.genus != m.genus
    ]
    total = sum(m.genus for m in measures)
    return _listed(
        "step-holes", "STEP through holes as the meshes'", faults, "parts", f"all {total} are there, no other"
    )


def _bores(measures: list[StepMeasure]) -> Finding:
    missing, wanted = sum(m.bores_missing for m in measures), sum(m.bores for m in measures)
    says = f"{wanted - missing} of {wanted} designed bores are round faces of their diameter in their place"
    status: Status = "fail" if missing else "pass"
    return Finding("step-bores", "STEP bores round and in place", status, missing, 0.0, "bores", says)


def _edges(measures: list[StepMeasure]) -> Finding:
    loosest, part = max((0.0 if m.counts is None else m.counts.loosest_mm, m.part) for m in measures)
    status: Status = "pass" if loosest <= EDGE_MM else "fail"
    says = f"the loosest, on {part}, keeps to {loosest:.4f} mm"
    return Finding("step-edges", "STEP edges tight", status, loosest, EDGE_MM, "mm", says)


def _mating(measures: list[StepMeasure]) -> Finding:
    """Planes in the parting, or one spline along it that both halves share."""
    faults = [
        f"{m.part} has no plane in the parting" for m in measures if m.mating_mm2 is not None and m.mating_mm2 <= 0
    ]
    faults += [f"{m.part} has no spline along the parting" for m in measures if m.stepped and m.mating is None]
    shared = [m.mating[0] for m in measures if m.mating is not None]
    apart = max((_apart_mm(a, b) for a, b in pairwise(shared)), default=0.0)
    if apart > SAME_MM:
        faults.append(f"the mating faces lie {apart:.4f} mm apart")
    says = "each mating face is a plane, in the parting to a millionth"
    if any(m.stepped for m in measures):
        says = f"the mating faces are one spline, the same on both halves within {max(apart, 1e-6):.6f} mm"
    return _listed("step-mating", "STEP mating faces meet", faults, "parts", says)


def _apart_mm(first: SplineGraph, second: SplineGraph) -> float:
    """Greatest difference of two graphs over what both cover."""
    a, b = first.box_mm, second.box_mm
    x = np.linspace(max(a[0], b[0]), min(a[2], b[2]), STATIONS)
    y = np.linspace(max(a[1], b[1]), min(a[3], b[3]), STATIONS)
    return float(np.abs(first.on_grid(x, y) - second.on_grid(x, y)).max())


def _distances(measures: list[StepMeasure]) -> list[tuple[FitReport, str]]:
    """Of skins and stepped mating faces from what they are to meet, with the part's name."""
    skins = [(r, m.part) for m in measures for r in m.skins]
    return skins + [(m.mating[1], m.part) for m in measures if m.mating is not None]


def _tolerance(measures: list[StepMeasure], tolerance_mm: float) -> Finding:
    """Distance of the envelopes from the faces read back that 99 % of the surface keep to."""
    title = "STEP skins within tolerance (99 %)"
    missing = [m.part for m in measures if (m.mating_mm2 is not None or m.stepped) and len(m.skins) != 2]
    known = [(r.p99_mm, part) for r, part in _distances(measures)]
    if missing or not known:
        says = f"two spline skins are looked for on each piece, not found on {', '.join(missing) or 'any'}"
        return Finding("step-tolerance", title, "fail", None, tolerance_mm, "mm", says)
    worst, part = max(known)
    status: Status = "pass" if worst <= tolerance_mm else "warn"
    says = f"99 % of the surface of {part} lies within {worst:.3f} mm"
    return Finding("step-tolerance", title, status, worst, tolerance_mm, "mm", says)


def _greatest(measures: list[StepMeasure], tolerance_mm: float) -> Finding:
    title, limit = "STEP skins, greatest distance", MAX_FACTOR * tolerance_mm
    known = [(r.max_mm, part, r.at_mm) for r, part in _distances(measures)]
    if not known:
        return Finding("step-greatest", title, "fail", None, limit, "mm", "no spline skin was found on any piece")
    worst, part, (x, y, z) = max(known)
    status: Status = "pass" if worst <= limit else "warn"
    says = f"{worst:.3f} mm, on {part} at ({x:.1f}, {y:.1f}, {z:.1f}) in its pull frame"
    return Finding("step-greatest", title, status, worst, limit, "mm", says)
