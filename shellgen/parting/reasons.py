"""Why a parting plane is on the list: its role among those shown, and its figures in sentences."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from shellgen.parting.plane_cost import PlaneCost

WORTH_STEPPING = 0.1  # of the jacket's rubber (or of the fill, where the jacket is unknown)
ALIKE = 0.01  # of a figure: planes that differ by less are alike, and none of them is best at it
NOTHING_CM3 = 0.05  # is printed as 0.0
Role = tuple[str, Callable[[PlaneCost], float]]
ROLES: tuple[Role, ...] = (
    ("least draw", lambda p: p.draw_mm),
    ("shortest flange", lambda p: p.flange_length_mm),
    ("fewest prints", lambda p: float(p.bed_tiles or 0)),
    ("most even halves", lambda p: -p.balance),
)


def rubber_cm3(plane: PlaneCost, stepped: bool) -> float:
    """The fill that planes are ranked by: with a stepped parting where the job follows the silhouette."""
    return plane.stepped_fill_cm3 if stepped else plane.fill_cm3


def role_of(plane: PlaneCost, shown: Sequence[PlaneCost], stepped: bool = False) -> str:
    """What the plane is best at among those shown, comma-separated; empty if at nothing alone.

    The first plane shown has the least rubber even if by little; in all else it takes a difference that a maker would
    notice.
    """
    found = []
    roles: tuple[Role, ...] = (("least rubber", lambda p: rubber_cm3(p, stepped)), *ROLES)
    for name, measure in roles:
        values = [measure(p) for p in shown]
        mine = measure(plane)
        alike = 1e-9 if name == "least rubber" else ALIKE * abs(mine)
        if mine <= min(values) and sum(v <= mine + alike for v in values) == 1 and len(values) > 1:
            found.append(name)
    return ", ".join(found) if len(shown) > 1 else "least rubber"


def stepping_share(plane: PlaneCost) -> float:
    """Rubber that stepping saves over all the rubber of the planar jacket (over the fill where that is unknown)."""
    whole = plane.jacket_cm3 if plane.jacket_cm3 else plane.fill_cm3
    return (plane.fill_cm3 - plane.stepped_fill_cm3) / whole if whole > 0 else 0.0


def stepping_says(plane: PlaneCost) -> str:
    """What a stepped parting on this plane would save, in a sentence."""
    saved, share = plane.fill_cm3 - plane.stepped_fill_cm3, stepping_share(plane)
    of = "the jacket's rubber" if plane.jacket_cm3 else "the fill"
    if saved <= 0:
        return "A stepped parting would save nothing here."
    if share >= WORTH_STEPPING:
        return f"A stepped parting saves {saved:.0f} cm3 of it, {100 * share:.0f} % of {of}: worth the trouble."
    if saved < NOTHING_CM3:
        return "A stepped parting would save next to nothing here."
    return (
        f"A stepped parting would save {saved:.1f} cm3, {100 * share:.1f} % of {of}: under a tenth, from which it is "
        "worth the trouble."
    )


def reasons(
    plane: PlaneCost,
    shown: Sequence[PlaneCost],
    middle: PlaneCost,
    *,
    basin: bool,
    tried: int,
    apart_deg: float,
    stepped: bool = False,
) -> tuple[str, ...]:
    """Sentences for one of the planes shown, the cheapest first among `shown`.

    basin : the plane is a minimum of its own, not the best of what was left. tried : directions looked along. stepped :
    the job's parting follows the silhouette, and planes are ranked by what it fills.
    """
    first = shown[0]
    says = []
    mine = rubber_cm3(plane, stepped)
    how = " with a stepped parting" if stepped else ""
    fill = f"Fills {mine:.1f} cm3 ({mine * _density(plane):.0f} g) beyond the plain thickness{how}"
    if plane is not first:
        more = mine - rubber_cm3(first, stepped)
        beside = (
            f"{abs(more):.1f} cm3 {'more' if more >= 0 else 'less'} than" if abs(more) >= NOTHING_CM3 else "as much as"
        )
        says.append(f"{fill}, {beside} the first.")
    elif plane is middle:
        says.append(f"{fill}: the middle plane, and no other along {tried} directions makes a jacket much lighter.")
    else:
        than = rubber_cm3(middle, stepped) - mine
        says.append(f"{fill}: the least found along {tried} directions, {than:.1f} cm3 less than the middle plane.")
    role = role_of(plane, shown, stepped)
    figures = {
        "least draw": f"least draw of the numbered planes, {plane.draw_mm:.0f} mm",
        "shortest flange": f"shortest parting line, {plane.flange_length_mm:.0f} mm",
        "fewest prints": f"fewest prints, {plane.bed_tiles} a half",
        "most even halves": f"most even halves, {plane.balance:.2f}",
    }
    best_at = [figures[name] for name in role.split(", ") if name in figures]
    if best_at:
        says.append((" and ".join(best_at) + ".").capitalize())
    if not basin:
        says.append(
            f"For comparison, at least {apart_deg:.0f} degrees from the others: turned a little it would fill less."
        )
    says.append(stepping_says(plane))
    says += crossing_says(plane)
    return tuple(says)


def crossing_says(plane: PlaneCost) -> tuple[str, ...]:
    """Which places to be kept clear the seam runs through, if any."""
    if not plane.crosses:
        return ()
    which = ", ".join(str(number) for number in plane.crosses)
    return (f"Its seam runs through the place to be kept clear number {which}.",)


def middle_reasons(middle: PlaneCost, best: PlaneCost, stepped: bool = False) -> tuple[str, ...]:
    """Sentences for the plane through the middle."""
    mine = rubber_cm3(middle, stepped)
    more = mine - rubber_cm3(best, stepped)
    verdict = f"{abs(more):.1f} cm3 {'more' if more > 0 else 'less'} than plane 1"
    verdict = "as much as plane 1" if abs(more) < NOTHING_CM3 else verdict
    fill = f"fills {mine:.1f} cm3 ({mine * _density(middle):.0f} g), {verdict}"
    return (f"Across the least extent, through its middle: {fill}.", stepping_says(middle), *crossing_says(middle))


def best_says(best: PlaneCost, middle: PlaneCost, stepped: bool) -> str:
    """Which plane "best" stands for, in a sentence."""
    where = ", ".join(f"{v + 0.0:.3f}" for v in best.normal)
    return (
        f"The best parting plane has the normal ({where}) at {best.offset_mm:.1f} mm: it fills "
        f"{rubber_cm3(best, stepped):.1f} cm3 beyond the plain thickness, the plane through the middle "
        f"{rubber_cm3(middle, stepped):.1f}."
    )


def _density(plane: PlaneCost) -> float:
    """Of the rubber [g/cm3]."""
    return plane.fill_g / plane.fill_cm3 if plane.fill_cm3 > 0 else 0.0
