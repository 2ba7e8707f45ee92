"""`shellgen coupon`: test pieces of a job's joint, and the bench table read back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from shellgen.shop.coupon.measured import Calibration
    from shellgen.shop.coupon.plan import CouponPlan


def coupon(
    job: Annotated[Path, typer.Argument(help="Job file (TOML).", show_default=False)],
    measured: Annotated[Path | None, typer.Option(help="The filled-in table: calibrate, write nothing else.")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder to write, by default outputs/<job name>-coupon.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the figures as JSON, nothing else.")] = False,
) -> None:
    """Write test pieces with the job's own section and hardware, or read their measured table back."""
    import json

    from shellgen.cli.progress import shown_progress
    from shellgen.job.read import read_job
    from shellgen.shop.coupon.measured import calibrate, read_table, table_text
    from shellgen.shop.coupon.plan import coupon_plan
    from shellgen.shop.design_job import design_job
    from shellgen.shop.files import put_files
    from shellgen.shop.joint.job import JointOptions

    wanted = read_job(job)
    folder = out or Path("outputs") / f"{wanted.settings.name}-coupon"
    with shown_progress(quiet=quiet or as_json) as progress:
        with progress.step("Laying out the mold"):
            design = design_job(wanted)
        with progress.step("Planning the test pieces"):
            plan = coupon_plan(design, JointOptions())
        if measured is None:
            with progress.step("Making the test pieces"):
                files = {**_files(plan), "measured.csv": table_text(plan).encode()}
            put_files(folder, files)
    if measured is not None:
        found = calibrate(plan, read_table(measured, plan), measured)
        figures = _calibration(found)
        put_files(folder, {"calibration.json": (json.dumps(figures, indent=1) + "\n").encode()})
        said = "\n".join([*found.says, *_use(found, job), f"Written to {folder / 'calibration.json'}"])
    else:
        figures = _plan(plan)
        said = _said(plan, folder)
    if as_json:
        typer.echo(json.dumps(figures, indent=1))
    elif not quiet:
        typer.echo(said)


def _files(plan: CouponPlan) -> dict[str, bytes]:
    import tempfile

    from shellgen.export.stl import write_stl
    from shellgen.shop.coupon.pieces import meshes
    from shellgen.shop.coupon.sheet import draw_sheet
    from shellgen.shop.files import png

    files = {"sheet.png": png(draw_sheet(plan))}
    with tempfile.TemporaryDirectory() as folder:
        for name, vertices, faces in meshes(plan):
            path = Path(folder, f"{name}.stl")
            write_stl(path, vertices, faces)
            files[path.name] = path.read_bytes()
    return files


def _plan(plan: CouponPlan) -> dict[str, Any]:
    """The plan as plain data with stable keys."""
    from shellgen.shop.coupon.measured import spots

    strips = plan.strips
    return {
        "job": plan.job,
        "bolt": strips.bolt.size,
        "torque_nm": round(strips.driven.torque_nm, 3),
        "weight_kg": strips.weight_kg,
        "modulus_mpa": strips.section.first.modulus_mpa,
        "spans_mm": list(strips.line.spans_mm),
        "spots": [
            {
                "spot": s.name,
                "what": s.what,
                "nominal_mm": s.nominal_mm,
                "predicted_mm": None if s.predicted_mm is None else round(s.predicted_mm, 4),
            }
            for s in spots(plan)
        ],
    }


def _said(plan: CouponPlan, folder: Path) -> str:
    strips = plan.strips
    gaps = ", ".join(
        f"{span:g} mm {opening:.2f}" for span, opening in zip(strips.line.spans_mm, strips.predicted_mm(), strict=True)
    )
    return (
        f"Strips with gaps of {', '.join(f'{s:g}' for s in strips.line.spans_mm)} mm for {strips.bolt.size}, "
        f"{strips.driven.torque_nm:.2f} N m.\n"
        f"Predicted opening under {strips.weight_kg:g} kg at {strips.section.first.modulus_mpa:g} MPa: {gaps}.\n"
        f"Print the STL files, follow sheet.png, fill in measured.csv. Written to {folder}"
    )


def _calibration(found: Calibration) -> dict[str, Any]:
    """The calibration as plain data with stable keys."""
    return {
        "modulus_mpa": None if found.modulus_mpa is None else round(found.modulus_mpa, 1),
        "scatter_percent": None if found.scatter_percent is None else round(found.scatter_percent, 2),
        "openings": [
            {"spot": spot, "measured_mm": measured, "fitted_mm": round(fitted, 4)}
            for spot, measured, fitted in found.openings_mm
        ],
        "key_clearance_mm": found.key_clearance_mm,
        "jacket_clearance_mm": found.jacket_clearance_mm,
        "says": list(found.says),
    }


def _use(found: Calibration, job: Path) -> list[str]:
    """What to change in the job, or to ask for, to use what was learnt."""
    out = []
    if found.modulus_mpa is not None and found.reliable:
        out.append(f"Use it: shellgen bolts {job} --modulus-mpa {found.modulus_mpa:.0f}")
    if found.key_clearance_mm is not None:
        out.append(f"In the job: flange.key_clearance_mm = {found.key_clearance_mm:g}")
    if found.jacket_clearance_mm is not None:
        out.append(f"In the job: jacket.clearance_mm = {found.jacket_clearance_mm:g}")
    return out
