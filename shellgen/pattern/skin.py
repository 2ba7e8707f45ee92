"""The pattern's own skin: a closed solid from whatever triangles the file holds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from shellgen.errors import PatternError
from shellgen.pattern.bodies import (
    Solid,
    as_read,
    bodies_in,
    bodies_united,
    outward,
    solid_from,
    tidied,
    triangles_of,
    united,
)
from shellgen.pattern.clip import clipped
from shellgen.pattern.deviation import distances_mm, samples
from shellgen.pattern.mend import CRACK, Mended, mended
from shellgen.pattern.outer_skin import outer_skin
from shellgen.pattern.pattern import FloatArray, IntArray, Skin
from shellgen.pattern.topology import Topology, part_sums, topology
from shellgen.pattern.weld import Welded, compact, without_back_to_back

Method = Literal["as it is", "holes capped", "outer skin"]
_EMPTY = 1e-9  # volume / area^1.5 under which a closed part is a folded sheet
_FOLDED, _FOLDED_MOST = 0.01, 0.1  # share of the area of one folded sheet, of all, that is left to the rubber alone
NEEDLE_MM, NEEDLE = 2e-3, 1e-5  # needles of cut solids thinner than that, or that share of the size, are taken out
_ALL = 0.3  # share of the area that needs an outer skin: from here on it is drawn round everything


@dataclass(frozen=True, slots=True, eq=False)
class Closed:
    """A mesh, and the solid it stands for.

    vertices, faces : every triangle to cover with rubber, caps and bridges included. solid : None where the faces
    themselves are one closed, outward surface, so that nothing had to be made. error_mm : as in `Skin`.
    """

    vertices: FloatArray
    faces: IntArray
    solid: Solid | None
    volume_mm3: float
    method: Method
    error_mm: float
    notes: tuple[str, ...]

    def with_solid(self, solid: Solid) -> Closed:
        """The same with another solid, such as the mounted one."""
        return replace(self, solid=solid, volume_mm3=float(solid.volume()))

    def as_solid(self) -> Solid:
        """The solid, made now if need be."""
        return self.solid if self.solid is not None else solid_from(self.vertices, self.faces)


def closed_skin(vertices: FloatArray, welded: Welded, faces: IntArray, source: str, *, board: bool) -> Closed:
    """Find the closed solid that a welded mesh stands for.

    vertices : (n, 3) in the mold frame, faces : (m, 3), `welded` as they came from welding. board : z = 0 is a board.
    Closed bodies are turned outward and united; holes are capped; what is neither gets an outer skin.
    Raises PatternError if the triangles enclose no solid at all.
    """
    if 4 * welded.back_to_back > len(faces):  # a surface written twice, once for each side
        faces = without_back_to_back(faces)
    top = topology(vertices, faces)
    sums = part_sums(vertices, top.faces, top.part, top.parts)
    whole = (np.bincount(top.part, (top.twins < 0).reshape(-1, 3).any(axis=1), top.parts) == 0) & ~top.conflict
    bulk = np.abs(sums[:, 0]) > _EMPTY * sums[:, 1] ** 1.5
    folded = whole & ~bulk
    area, sheets = float(sums[:, 1].sum()), sums[folded, 1]
    few = sheets.sum() < _FOLDED_MOST * area and sheets.max(initial=0) < _FOLDED * area
    rest = ~whole if few else ~whole | folded
    good = whole & bulk
    turned = _outward(top, sums)
    notes = _turning_notes(top)
    if not rest.any():
        if top.parts == 1:
            return Closed(vertices, turned, None, abs(float(sums[0, 0])), "as it is", 0.0, notes)
        solid = _solid_of(vertices, turned[good[top.part]], source)
        return _finished(vertices, turned, [solid], "as it is", 0.0, notes, source)
    parts = [_solid_of(vertices, turned[good[top.part]], source)] if good.any() else []
    return _mended(vertices, turned, parts, rest[top.part], notes, source, board)


def _mended(
    vertices: FloatArray, faces: IntArray, solids: list[Solid], rest: npt.NDArray[np.bool_], notes: tuple[str, ...],
    source: str, board: bool,
) -> Closed:  # fmt: skip
    """Cap what can be capped of the `rest` (a mask over faces), draw an outer skin round what cannot."""
    method: Method = "holes capped"
    result = mended(*compact(vertices, faces[rest]), board=board)
    size = float(np.ptp(vertices, axis=0).max())
    said: tuple[str, ...] = ()
    extra, error = [], CRACK * size if result.welded else 0.0
    if len(result.faces):
        capped = bodies_united(outward(bodies_in(*compact(result.vertices, result.faces))))
        if capped is None:  # the kernel refuses what counts as closed here: the outer skin takes it
            result = result.given_up()
        else:
            solids.append(capped)
            extra.append(result.capped)
            said = _cap_notes(result)
    covered = [(result.vertices, np.vstack(extra))] if extra else []
    if len(result.left):
        method = "outer skin"
        everything = len(result.left) > _ALL * len(faces)
        loose = compact(vertices, faces) if everything else compact(result.vertices, result.left)
        found = outer_skin(*(clipped(*loose) if board else loose), board=board)
        if found is not None:
            solids, said = ([found.solid], ()) if everything else ([*solids, found.solid], said)
            covered.append((found.vertices, found.bridged))
            error = max(error, found.error_mm)
            notes += (found.says(),)
    done = _finished(*_joined(vertices, faces, covered), solids, method, error, notes + said, source)
    if method == "outer skin" or not len(result.cut):
        return done
    gap = distances_mm(samples(vertices, faces), *triangles_of(done.as_solid()), 0.01 * size)
    return replace(done, error_mm=max(error, float(np.quantile(gap, 0.99))))


def _finished(
    vertices: FloatArray, faces: IntArray, solids: list[Solid], method: Method, error: float, notes: tuple[str, ...],
    source: str,
) -> Closed:  # fmt: skip
    if not solids:
        raise PatternError(f"{source}: its triangles enclose no solid, nor leave a skin. Export a closed body.")
    solid, dust = tidied(united(solids))
    if dust:
        notes += (f"{dust} specks under a millionth of the volume are covered with rubber but leave no cavity.",)
    return Closed(vertices, faces, solid, float(solid.volume()), method, error, notes)


def _outward(top: Topology, sums: FloatArray) -> IntArray:
    turn = (sums[:, 0] < 0)[top.part]
    if not turn.any():
        return top.faces
    faces = top.faces.copy()
    faces[turn] = faces[turn][:, [0, 2, 1]]
    return faces


def _solid_of(vertices: FloatArray, faces: IntArray, source: str) -> Solid:
    solid = bodies_united(outward(bodies_in(*compact(vertices, faces))))
    if solid is None:
        raise PatternError(f"{source}: its closed bodies were refused by the solid kernel. Export the mesh again.")
    return solid


def _joined(
    vertices: FloatArray, faces: IntArray, more: list[tuple[FloatArray, IntArray]]
) -> tuple[FloatArray, IntArray]:
    for points, triangles in more:
        points, triangles = compact(points, triangles)
        faces = np.vstack([faces, triangles + np.int32(len(vertices))]).astype(np.int32)
        vertices = np.vstack([vertices, points])
    return vertices, faces


def _turning_notes(top: Topology) -> tuple[str, ...]:
    turned = int(top.turned.sum())
    return (f"{turned} flipped triangles turned over.",) if turned else ()


def _cap_notes(result: Mended) -> tuple[str, ...]:
    notes: tuple[str, ...] = ()
    if result.holes:
        notes += (f"{result.holes} hole{'s' if result.holes > 1 else ''} capped.",)
    if len(result.cut):
        notes += (f"{len(result.cut)} tangled triangles left out of the skin (still covered with rubber).",)
    return notes


def skin_of(closed: Closed) -> Skin:
    """The finished skin: of the solid, or of the mesh itself where nothing had to be made.

    A reader that rounds to single precision folds needles flat, and counts them as bodies of their own.
    """
    volume = closed.volume_mm3
    if closed.solid is None:
        vertices, faces = compact(closed.vertices, closed.faces)
    else:
        size = float(np.ptp(closed.vertices, axis=0).max())
        solid = as_read(closed.solid.simplify(max(NEEDLE_MM, NEEDLE * size)))
        vertices, faces, volume = *triangles_of(solid), float(solid.volume())
    vertices, faces = np.ascontiguousarray(vertices), np.ascontiguousarray(faces, np.int32)
    return Skin(vertices, faces, volume, closed.method, closed.error_mm)
