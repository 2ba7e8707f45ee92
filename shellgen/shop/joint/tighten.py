"""A driven bolt in its flange: from hand torque to preload, bearing stress and stiffness. N, mm, MPa; torque N m."""

from __future__ import annotations

from dataclasses import dataclass

from shellgen.errors import DesignError
from shellgen.shop.joint.frustum import bolt_stiffness, load_share, member_stiffness
from shellgen.shop.joint.preload import largest_torque_nm, preload_n, proof_preload_n
from shellgen.shop.joint.seam import Clamp
from shellgen.shop.joint.seat import End, least_area_mm2
from shellgen.shop.joint.section import JointSection
from shellgen.standards.fasteners import BoltData, HeadKind, WasherKind, torque_factor
from shellgen.standards.figures import figure


@dataclass(frozen=True, slots=True)
class Tightening:
    """How the bolts are driven. torque_nm : None for the most that the flange and the bolt bear.

    thread : state of the thread (torque factor). kept : part of the preload that creep leaves.
    """

    ends: tuple[End, End] = ("washer", "washer")
    hole_mm: float | None = None
    washer: WasherKind = "plain"
    head: HeadKind = "hex"
    torque_nm: float | None = None
    thread: str = "unknown"
    grade: str | None = None
    kept: float | None = None


@dataclass(frozen=True, slots=True)
class Tightened:
    """The driven bolt: torque, preload, pressure under its smaller seat, and stiffnesses [N/mm].

    most_torque_nm : what the flange and the bolt bear. kept_n : preload after creep.
    """

    torque_nm: float
    most_torque_nm: float
    preload_n: float
    kept_n: float
    bearing_mpa: float
    bolt_n_per_mm: float
    member_n_per_mm: float
    seat_mm: float

    @property
    def load_share(self) -> float:
        """Part of an outside load that the bolt feels while the joint is closed."""
        return load_share(self.bolt_n_per_mm, self.member_n_per_mm)

    @property
    def clamp(self) -> Clamp:
        """The bolt as the seam sees it, after creep."""
        return Clamp(self.kept_n, self.bolt_n_per_mm, self.seat_mm)


def tighten(section: JointSection, bolt: BoltData, how: Tightening) -> Tightened:
    """Drive a bolt: from torque to preload and bearing stress.

    Raises DesignError if the torque crushes the flange or passes the bolt's own limit, with the most that works.
    """
    hole = how.hole_mm or bolt.hole_mm["medium"]
    area = least_area_mm2(bolt, how.ends, hole_mm=hole, washer=how.washer)
    allowed = min(section.first.bearing_mpa, section.second.bearing_mpa)
    factor = torque_factor(how.thread)
    most = largest_torque_nm(area_mm2=area, bearing_mpa=allowed, bolt=bolt, factor=factor, grade=how.grade)
    torque = most if how.torque_nm is None else how.torque_nm
    force = preload_n(torque, bolt.d_mm, factor)
    if torque > most * (1 + 1e-9):
        raise DesignError(_too_tight(bolt, how, torque, most, area, allowed, factor))
    washer = bolt.washer_of(how.washer)
    grip = section.first.thickness_mm + section.second.thickness_mm
    layers = tuple((f.thickness_mm, f.modulus_mpa) for f in (section.first, section.second))
    kept = figure("preload kept") if how.kept is None else how.kept
    return Tightened(
        torque_nm=torque,
        most_torque_nm=most,
        preload_n=force,
        kept_n=force * kept,
        bearing_mpa=force / area,
        bolt_n_per_mm=bolt_stiffness(
            stress_area_mm2=bolt.stress_area_mm2,
            length_mm=grip + 2 * washer.h_mm,
            modulus_mpa=figure("steel modulus"),
        ),
        member_n_per_mm=member_stiffness(layers, hole_mm=hole, seat_mm=washer.od_mm),
        seat_mm=washer.od_mm,
    )


def _too_tight(
    bolt: BoltData, how: Tightening, torque: float, most: float, area: float, allowed: float, factor: float
) -> str:
    force = preload_n(torque, bolt.d_mm, factor)
    says = f"bolts.torque_nm = {torque:g} pulls {force:.0f} N: "
    if force > area * allowed:
        says += f"{force / area:.1f} MPa under the {bolt.size} {how.ends[1]} seat, where the flange bears {allowed:g}. "
    else:
        says += (
            f"more than {proof_preload_n(bolt, how.grade):.0f} N, three quarters of the {bolt.size} bolt's proof load. "
        )
    says += f"Use {most:.2f} N m or less"
    wide = least_area_mm2(bolt, how.ends, hole_mm=how.hole_mm or bolt.hole_mm["medium"], washer="large")
    larger = largest_torque_nm(area_mm2=wide, bearing_mpa=allowed, bolt=bolt, factor=factor, grade=how.grade)
    return says + (f", or large washers with up to {larger:.2f} N m." if larger > most * 1.01 else ".")
