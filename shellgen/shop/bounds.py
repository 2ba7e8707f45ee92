"""What the liquid does to the wall, the lid and the pattern: bounds by closed forms, for the same head as the joint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.mold.mold import MoldDesign
from shellgen.shop.joint.loads import JointLoads, buoyancy_n
from shellgen.shop.plates import (
    hoop_stress_mpa,
    ring_buckling_mpa,
    round_plate,
    sphere_buckling_mpa,
    square_plate_clamped,
    square_plate_supported,
)
from shellgen.standards.figures import figure
from shellgen.standards.materials import material


@dataclass(frozen=True, slots=True)
class Bound:
    """One figure: what it is, its value, and how to read it."""

    what: str
    value: float
    unit: str
    says: str


def bounds(design: MoldDesign, loads: JointLoads, modulus_mpa: float) -> tuple[Bound, ...]:
    """Wall, lid and pattern under the joint's pressure; small deflections, so read large ones as "too soft".

    The wall is taken as wide as the jacket's room: a cylinder of that width round, a square of that side flat.
    """
    pressure = loads.pressure_mpa + loads.squeeze_mpa
    wall, nu = design.settings.shell.wall_mm, figure("poisson ratio")
    width = _room_width_mm(design)
    plate = {"pressure_mpa": pressure, "thickness_mm": wall, "modulus_mpa": modulus_mpa, "poisson": nu}
    shell = {"radius_mm": width / 2.0, "thickness_mm": wall, "modulus_mpa": modulus_mpa, "poisson": nu}
    clamped, supported = (f(side_mm=width, **plate) for f in (square_plate_clamped, square_plate_supported))
    outer = min(ring_buckling_mpa(**shell), figure("real shells") * sphere_buckling_mpa(**shell))
    hoop = hoop_stress_mpa(pressure_mpa=pressure, radius_mm=width / 2.0, thickness_mm=wall)
    found = [
        Bound("wall, round", hoop, "MPa", f"stress round a wall {width:.0f} mm across"),
        Bound(
            "wall, flat",
            clamped.deflection_mm,
            "mm",
            f"bulge of a flat wall {width:.0f} mm square, edges stiff; {supported.deflection_mm:.2f} mm if loose",
        ),
        Bound("wall, from outside", 1000.0 * outer, "kPa", "pressure of straps or vacuum that folds such a wall"),
    ]
    found += _lid(design, pressure, modulus_mpa, nu)
    if design.settings.jacket.method == "pour" and design.pattern.mount != "board":
        lift = buoyancy_n(design.pattern.skin.volume_mm3, material("silicone").density_g_cm3)
        found.append(Bound("pattern", lift, "N", "lift in the poured rubber, less the pattern's own weight"))
    return tuple(found)


def _lid(design: MoldDesign, pressure_mpa: float, modulus_mpa: float, nu: float) -> list[Bound]:
    """The lid between its bolts: a round plate as wide as their circle."""
    places = np.array([b.seats_mm[0] for b in design.bolts if b.setup == "lid"])
    thickness = design.settings.port.lid_thickness_mm
    if len(places) < 2 or thickness is None:
        return []
    radius = float(np.linalg.norm(places - places.mean(axis=0), axis=1).max())
    loose, stiff = (
        round_plate(
            pressure_mpa=pressure_mpa,
            radius_mm=radius,
            thickness_mm=thickness,
            modulus_mpa=modulus_mpa,
            poisson=nu,
            clamped=held,
        )
        for held in (False, True)
    )
    return [
        Bound(
            "lid",
            loose.deflection_mm,
            "mm",
            f"bulge of a lid on bolts {2 * radius:.0f} mm across, {stiff.deflection_mm:.2f} mm if its rim cannot turn",
        )
    ]


def _room_width_mm(design: MoldDesign) -> float:
    """The lesser side of the jacket's room in plan [mm], the greatest of all pieces."""
    widest = 0.0
    for piece in design.pieces:
        room = piece.inside
        x, y = np.meshgrid(room.grid.x_mm, room.grid.y_mm)
        inside = room.heights_mm > piece.parting.at(x, y)
        if inside.any():
            widest = max(widest, min(float(np.ptp(x[inside])), float(np.ptp(y[inside]))))
    return widest
