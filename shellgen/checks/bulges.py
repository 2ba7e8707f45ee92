"""Where the pattern bulges, the rubber is hardly thicker than asked."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding, Status
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part
from shellgen.solid.recipe import transform

TITLE = "rubber no thicker than asked where the pattern bulges"
LIMIT_MM = 0.3
SHARE = 0.9
DIRECTIONS = 600
LEAN_DEG = 15.0  # beyond the draft: a bulge must look at least this far away from the parting
STRAIGHT = 0.985  # least cosine between a bulge's direction and the nearest shell: less is an opening


def check(bench: Bench) -> Finding:
    """At the pattern's outermost points: rubber against asked thickness, shell against that and the clearance.

    Nine points in ten must keep the limit; the greatest excess is told too, and is listed as a fill if it is one.

    These are the points furthest out in many directions; nothing fills them, unless the direction lies within the
    draft of the parting. Left out are those by a jacket key, near the board, and before an opening of the shell.
    The limit grows by a third of the raster's step, which the design adds so that "at least" holds.
    """
    step = bench.mold.design.settings.raster.pitch_mm or 0.0
    excess, places = [np.empty(0)], [np.empty((0, 3))]
    for piece in bench.shells:
        points, ways = bulges(bench, piece)
        if not len(points) or not len(bench.jacket_outside.samples):
            continue
        thickness, clearance, _ = bench.asked(piece.name)
        gaps, feet = bench.surfaces[piece.name].distance(points)
        ahead = np.einsum("ij,ij->i", feet - points, ways) > STRAIGHT * gaps
        excess += [bench.jacket_outside.distance(points)[0] - thickness, gaps[ahead] - thickness - clearance]
        places += [points, points[ahead]]
    found, at = np.concatenate(excess), np.concatenate(places)
    if not len(found):
        says = "the pattern has no outermost points clear of keys and board to measure at"
        return Finding("bulges", TITLE, "warn", None, LIMIT_MM, "mm", says)
    most, greatest = float(np.quantile(found, SHARE)), int(found.argmax())
    status: Status = "pass" if most <= LIMIT_MM else "warn" if most <= LIMIT_MM + step / 3.0 else "fail"
    says = (
        f"{100 * SHARE:.0f} % of {len(found)} outermost points are within {most:.2f} mm of asked, "
        f"the worst {found[greatest]:.2f} mm over, at {place(at[greatest])}"
    )
    if status == "warn":
        says += f"; a raster.pitch_mm under {step:g} brings it down"
    return Finding("bulges", TITLE, status, most, LIMIT_MM, "mm", says)


def bulges(bench: Bench, piece: Part) -> tuple[FloatArray, FloatArray]:
    """Outermost points (k, 3) of the pattern under a piece, each once, and a direction (k, 3) it is outermost in."""
    pull = np.asarray(piece.pull if piece.pull is not None else (0.0, 0.0, 1.0), float)
    design = bench.mold.design
    ways = _directions(DIRECTIONS)
    lean = np.sin(np.radians((design.settings.jacket.draft_deg or 0.0) + LEAN_DEG))
    ways = ways[ways @ pull > lean]
    if bench.on_board:
        ways = ways[ways[:, 2] > -0.05]
    outer = bench.hull_points
    _, one = np.unique(best := (ways @ outer.T).argmax(1), return_index=True)
    points, ways = outer[best[one]], ways[one]
    thickness, clearance, _ = bench.asked(piece.name)
    clear = _in_cell(bench, piece, points + (thickness + clearance) * ways)
    for key in design.jacket_keys:
        across = 1.5 * key.radius_mm + key.height_mm + thickness + clearance
        clear &= np.linalg.norm(points - np.asarray(key.at_mm), axis=1) > across
    if bench.on_board:
        clear &= points[:, 2] > 2.0 * thickness + clearance + (design.settings.jacket.crevice_mm or 0.0)
    return points[clear], ways[clear]


def _directions(count: int) -> FloatArray:
    """Unit vectors (k, 3) spread evenly over the sphere (golden spiral)."""
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * k
    level = np.sqrt(1.0 - z**2)
    return np.stack([level * np.cos(turn), level * np.sin(turn), z], 1)


def _in_cell(bench: Bench, piece: Part, points: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points (k, 3) lie on a piece's side of its parting; without its recipe, those nearest to it."""
    for recipe in bench.mold.design.pieces:
        if recipe.name == piece.name:
            local = transform(points, np.asarray(np.linalg.inv(recipe.pull_to_mold), float))
            return np.asarray(local[:, 2] > recipe.parting.at(local[:, 0], local[:, 1]), bool)
    near = {shell.name: bench.surfaces[shell.name].rough_distance(points) for shell in bench.shells}
    return np.asarray(near[piece.name] <= np.min(list(near.values()), axis=0), bool)
