"""What parts a seam: the head of liquid, a squeezed jacket and weight, as force per length. N, mm, MPa."""

from __future__ import annotations

from dataclasses import dataclass

from shellgen.errors import DesignError
from shellgen.standards.figures import figure


def head_pressure_mpa(density_g_cm3: float, head_mm: float) -> float:
    """p = rho g h [MPa] under `head_mm` of liquid."""
    return density_g_cm3 * 1e-6 * figure("standard gravity") * head_mm


def weight_n(mass_g: float) -> float:
    """Weight [N] of a mass in grams."""
    return mass_g / 1000.0 * figure("standard gravity")


def buoyancy_n(volume_mm3: float, density_g_cm3: float) -> float:
    """Lift [N] of a body of `volume_mm3` held under a liquid."""
    return volume_mm3 * density_g_cm3 * 1e-6 * figure("standard gravity")


def squeeze_mpa(*, modulus_mpa: float, squeeze_mm: float, thickness_mm: float) -> float:
    """Pressure [MPa] of a rubber layer of `thickness_mm` pressed thinner by `squeeze_mm`: E strain, free to spread."""
    return modulus_mpa * squeeze_mm / thickness_mm


@dataclass(frozen=True, slots=True)
class JointLoads:
    """Loads on the whole seam of one mold.

    pressure_mpa : of the liquid at its deepest, in the worst pose. squeeze_mpa : from a jacket too thick for its room.
    weight_n : all that hangs on the bolts when the parting lies level: liquid, rubber, the lower piece.
    area_mm2 : what the pressure pushes on, seen along the pull. seam_mm : length of flange that holds it.
    """

    pressure_mpa: float
    squeeze_mpa: float
    weight_n: float
    area_mm2: float
    seam_mm: float

    def __post_init__(self) -> None:
        """Refuse negative loads and a seam without length."""
        for name in ("pressure_mpa", "squeeze_mpa", "weight_n", "area_mm2"):
            if not getattr(self, name) >= 0:
                raise DesignError(f"joint loads: {name} = {getattr(self, name):g} must be zero or more.")
        if not self.seam_mm > 0:
            raise DesignError(f"joint loads: the seam's length {self.seam_mm:g} mm must be above zero.")

    @property
    def upright_n(self) -> float:
        """Force that parts the pieces when the parting stands upright: the liquid's pressure on the whole area.

        The pressure at the deepest point is taken everywhere, so any gap may be the lowest one.
        """
        return self.pressure_mpa * self.area_mm2

    @property
    def line_load_n_per_mm(self) -> float:
        """Force that parts the seam, per length: the worse pose (upright, or level by weight), and the squeeze."""
        return (max(self.upright_n, self.weight_n) + self.squeeze_mpa * self.area_mm2) / self.seam_mm
