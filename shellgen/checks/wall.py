"""The shell's wall is nowhere thinner than asked."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shellgen.checks.bench import Bench, place
from shellgen.checks.finding import Finding, Status
from shellgen.envelope.raster import FloatArray
from shellgen.mold.mold import Part
from shellgen.solid.recipe import inverse, transform

TITLE = "wall at least as thick as asked"
SLACK_MM = 0.1  # twice the tolerance of the triangles
RAYS = 4000
FACING_MM = 0.3  # beyond the clearance
MATING_MM = 0.3  # a ray that starts so near to another piece starts on a mating face
MEETING_MM = 0.5  # and one that ends so near leaves through one
UPRIGHT = 1e-3  # a face whose normal leans no more than that out of the plan runs along the pull
SQUARE = 0.35  # least cosine between a ray and the face it leaves by


def check(bench: Bench) -> Finding:
    """Rays into the shell, square to its inside, from where that faces the rubber to where they leave.

    Left out are rays that leave through a mating face (where another piece lies on it: a face that lies bare is no
    excuse) or the board, into a bolt's bore (its floor is a seat), through
    faces along the pull (bores of ports and rims; the skin itself leans by its draft), through faces nearly along
    the ray, and through the inside again on the other side of a web, where the wall is rightly cut short.
    """
    worst: tuple[float, float, str] | None = None
    for piece in bench.shells:
        asked = bench.asked(piece.name)[2]
        starts, lengths = wall_mm(bench, piece)
        if not len(lengths):
            return Finding("wall", TITLE, "fail", None, asked, "mm", f"the inside of {piece.name} faces no rubber")
        least = int(lengths.argmin())
        entry = (float(lengths[least]) - asked, asked, f"{piece.name} at {place(starts[least])}")
        worst = entry if worst is None or entry[0] < worst[0] else worst
    if worst is None:
        return Finding("wall", TITLE, "fail", None, None, "mm", "there is no shell piece")
    least_mm = worst[0] + worst[1]
    status: Status = "pass" if worst[0] >= -SLACK_MM else "fail"
    says = f"least wall is {least_mm:.2f} mm, in {worst[2]}, asked {worst[1]:g}"
    return Finding("wall", TITLE, status, least_mm, worst[1], "mm", says)


def wall_mm(bench: Bench, piece: Part) -> tuple[FloatArray, FloatArray]:
    """Starts (k, 3) of the rays that count, and the thickness each found (k,) [mm]."""
    _, clearance, asked = bench.asked(piece.name)
    surface = bench.surfaces[piece.name]
    low = 0.05 if bench.on_board else -np.inf
    chosen = np.flatnonzero(surface.samples[:, 2] > low)
    reach = clearance + FACING_MM + bench.jacket_outside.spacing_mm
    chosen = chosen[bench.jacket_outside.rough_distance(surface.samples[chosen], reach) < np.inf]
    chosen = chosen[(np.arange(2 * RAYS) * len(chosen)) // (2 * RAYS)] if len(chosen) > 2 * RAYS else chosen
    gap, feet = bench.jacket_outside.distance(surface.samples[chosen])
    normals = surface.normals(chosen.astype(np.int32))
    facing = (gap < clearance + FACING_MM) & (
        (gap < 1e-3) | (np.einsum("ij,ij->i", feet - surface.samples[chosen], normals) > 0.5 * gap)
    )
    chosen, normals = chosen[facing], normals[facing]
    if len(chosen) > RAYS:
        pick = (np.arange(RAYS) * len(chosen)) // RAYS
        chosen, normals = chosen[pick], normals[pick]
    starts = surface.samples[chosen]
    lengths, faces = bench.rays(piece.name).shoot(starts, -normals, 4.0 * asked + 10.0)
    hit = faces >= 0
    starts, normals, lengths, faces = starts[hit], normals[hit], lengths[hit], faces[hit]
    corners = piece.vertices_mm[piece.faces[faces]]
    outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    outward /= np.maximum(np.linalg.norm(outward, axis=1), 1e-300)[:, None]
    keep = np.einsum("ij,ij->i", outward, -normals) > SQUARE
    if piece.pull is not None:
        keep &= np.abs(outward @ np.asarray(piece.pull)) > UPRIGHT
    ends = starts - lengths[:, None] * normals
    keep &= (ends[:, 2] > low) & ~_in_bore(bench, ends)
    short = keep & (lengths < asked)  # a web between two bulges of the rubber is as wide as the crevice radius makes it
    keep[short] &= ~_on_inside(bench, piece, ends[short])
    for other in bench.rigid:
        if other.name != piece.name and keep.any():
            short = keep & (lengths < asked)
            if short.any():
                beside = bench.rays(other.name)
                keep[short] &= (beside.distance(starts[short]) > MATING_MM) & (
                    beside.distance(ends[short]) > MEETING_MM
                )
    return starts[keep], lengths[keep]


def _on_inside(bench: Bench, piece: Part, points: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points (k, 3) on the piece lie nearer to its inside than to its outside, along its pull."""
    for recipe in bench.mold.design.pieces:
        if recipe.name == piece.name:
            x, y, z = transform(points, inverse(recipe.pull_to_mold)).T
            return np.asarray(z - recipe.inside.at(x, y) < recipe.outside.at(x, y) - z, bool)
    return bench.jacket_outside.distance(points)[0] < bench.asked(piece.name)[1] + FACING_MM


def _in_bore(bench: Bench, points: FloatArray) -> npt.NDArray[np.bool_]:
    """Which points (k, 3) lie on a bolt's bore."""
    found = np.zeros(len(points), bool)
    for bolt in bench.mold.design.bolts:
        one, other = np.asarray(bolt.seats_mm, float)
        way = (other - one) / max(float(np.linalg.norm(other - one)), 1e-12)
        along = (points - one) @ way
        off = np.linalg.norm(points - one - np.outer(along, way), axis=1)
        found |= (off < bolt.hole_mm / 2 + 1.5) & (along > -2.0) & (along < np.linalg.norm(other - one) + 2.0)
    return found
