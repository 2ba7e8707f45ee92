"""The section of a bolted flange pair across the seam: stiffness along it, across it and through it.

Across the seam x runs from the wall's inside (0) out to the flange's edge; the bolt line lies at `bolt_line_mm`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shellgen.errors import DesignError
from shellgen.standards.figures import figure


@dataclass(frozen=True, slots=True)
class Flange:
    """One side of the joint.

    width_mm : from the wall's outside to the edge. rib_mm : height of a rib of wall thickness along the edge.
    web_mm : height of gussets between flange and wall, 0 for none; they are as thick as the wall.
    """

    width_mm: float
    thickness_mm: float
    wall_mm: float
    modulus_mpa: float
    bearing_mpa: float
    rib_mm: float = 0.0
    web_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a flange without size or stiffness."""
        for name in ("width_mm", "thickness_mm", "wall_mm", "modulus_mpa", "bearing_mpa"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise DesignError(f"flange: {name} = {value:g} must be above zero.")

    @property
    def face_mm(self) -> float:
        """Width of the mating face: wall and flange."""
        return self.width_mm + self.wall_mm

    def along_mm4(self) -> float:
        """Second moment for bending along the seam [mm4].

        The flange strip alone; a rib adds its own, and gussets make flange and wall bend as one angle as high as
        they are. Without gussets the wall's help is left out, which errs on the safe side.
        """
        parts = [(self.face_mm, self.thickness_mm, 0.0)]
        if self.rib_mm > 0:
            parts.append((self.wall_mm, self.rib_mm, self.thickness_mm))
        if self.web_mm > 0:
            parts.append((self.wall_mm, self.web_mm, self.thickness_mm))
        return stacked_mm4(parts)

    def across_mm4(self, strip_mm: float) -> float:
        """Second moment for bending across the seam of a strip of the given length along it [mm4].

        A gusset adds a web of half its height, as it tapers to nothing at the flange's edge.
        """
        parts = [(strip_mm, self.thickness_mm, 0.0)]
        if self.web_mm > 0:
            parts.append((self.wall_mm, self.web_mm / 2.0, self.thickness_mm))
        return stacked_mm4(parts)


@dataclass(frozen=True, slots=True)
class Layer:
    """A rubber layer bonded between the faces: its width across the seam, thickness and modulus."""

    width_mm: float
    thickness_mm: float
    modulus_mpa: float

    def stiffness_mpa(self) -> float:
        """Foundation stiffness per length [N/mm2] of a long bonded strip (Gent and Lindley).

        k = b/t 4/3 E (1 + S^2), S = b/(2t) loaded over free area.
        """
        shape = self.width_mm / (2.0 * self.thickness_mm)
        return self.width_mm / self.thickness_mm * 4.0 / 3.0 * self.modulus_mpa * (1.0 + shape**2)


@dataclass(frozen=True, slots=True)
class JointSection:
    """Two flanges face to face with bolts on one line. `layer` : rubber between the faces, if any."""

    first: Flange
    second: Flange
    bolt_line_mm: float
    layer: Layer | None = None

    def __post_init__(self) -> None:
        """Refuse a bolt line that is not on the flange."""
        wall = max(self.first.wall_mm, self.second.wall_mm)
        edge = min(self.first.face_mm, self.second.face_mm)
        if not wall < self.bolt_line_mm < edge:
            raise DesignError(
                f"bolt line {self.bolt_line_mm:g} mm from the wall's inside is not on the flange "
                f"({wall:g} to {edge:g} mm). Use {(wall + edge) / 2:g}."
            )

    @property
    def arm_mm(self) -> float:
        """From the wall's middle to the bolt line."""
        return self.bolt_line_mm - max(self.first.wall_mm, self.second.wall_mm) / 2.0

    @property
    def heel_mm(self) -> float:
        """From the bolt line to the flange's edge."""
        return min(self.first.face_mm, self.second.face_mm) - self.bolt_line_mm

    @property
    def prying(self) -> float:
        """Bolt force per force at the wall when the flange turns about its edge: (arm + heel) / heel."""
        return (self.arm_mm + self.heel_mm) / self.heel_mm

    def bending_nmm2(self) -> float:
        """E I of the opening [N mm2]: both flanges bend under the same load, so their compliances add."""
        return 1.0 / sum(1.0 / (f.modulus_mpa * f.along_mm4()) for f in (self.first, self.second))

    def foundation_mpa(self) -> float:
        """Stiffness of the closed faces per length of seam [N/mm2]: flanges through their thickness, and rubber."""
        face = min(self.first.face_mm, self.second.face_mm)
        compliance = sum(f.thickness_mm / (f.modulus_mpa * face) for f in (self.first, self.second))
        if self.layer is not None:
            compliance += 1.0 / self.layer.stiffness_mpa()
        return 1.0 / compliance

    def across_mm(self, *, line_load_n_per_mm: float, span_mm: float, seat_mm: float) -> float:
        """Opening at the wall by bending across the seam [mm]: each flange a cantilever from the washer's edge.

        A washer of diameter `seat_mm` spreads its load at 45 degrees along the seam; the wall's grip on the flange is
        left out. Zero where the washer reaches over the wall's middle.
        """
        arm = self.arm_mm - seat_mm / 2.0
        if arm <= 0:
            return 0.0
        spread = 2.0 * arm * math.tan(math.radians(figure("load spread")))
        strip = min(span_mm, seat_mm + spread)
        force = line_load_n_per_mm * span_mm
        return sum(force * arm**3 / (3.0 * f.modulus_mpa * f.across_mm4(strip)) for f in (self.first, self.second))


def stacked_mm4(parts: list[tuple[float, float, float]]) -> float:
    """Second moment of rectangles (width, height, bottom) about their common centroid [mm4]."""
    area = sum(w * h for w, h, _ in parts)
    centre = sum(w * h * (b + h / 2.0) for w, h, b in parts) / area
    return sum(w * h**3 / 12.0 + w * h * (b + h / 2.0 - centre) ** 2 for w, h, b in parts)
