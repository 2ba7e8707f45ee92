"""Radial pieces about an upright axis: one flange plan and one closing on each mating face, carried to both its pieces.

A mating face is a half plane that ends in the axis. Its frame: x along the face from the axis, y up, z along the normal
into the first piece; the second piece's frame of it is the same turned over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.affinity import scale, translate
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.bolt_row import length
from shellgen.mold.closing import Closing, closing
from shellgen.mold.drape import Draped, drape
from shellgen.mold.feet import BAR_MM
from shellgen.mold.flange import FlangePlan, flange_plan, level_region, polygons, turned_over
from shellgen.mold.met_rooms import core_points, widened
from shellgen.mold.mold import Bolt, FaceSeam, Key
from shellgen.mold.places import Places, bolt_offset_mm, find_places
from shellgen.parting.cells import Cell
from shellgen.solid.recipe import transform
from shellgen.standards.fasteners import bolt as bolt_data

AXIS_MM = 1.0  # a section that comes this near to the axis is taken to reach it
HEAD_MM = 3.0  # above a nut that must be free of the wall; common practice, no source
BAR_ROUND_MM = 12.0  # slots narrower than twice that between flange and foot bar are filled
BAR_HALF_MM = 30.0  # least length of a foot bar from the axis


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """The mating face between two neighbours: its plan and places in its own frame, what closes it.

    pair : the pieces' names. to_mold : 4x4 from the face's frame.
    """

    pair: tuple[str, str]
    to_mold: FloatArray
    plan: FlangePlan
    places: Places
    shut: Closing


@dataclass(frozen=True, slots=True, eq=False)
class Radial:
    """All pieces and mating faces; face k lies between piece k and the next, the last before the first piece."""

    draped: tuple[Draped, ...]
    faces: tuple[Face, ...]
    slope: float
    tops: tuple[None, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def bolts(self) -> tuple[Bolt, ...]:
        """The closing bolts of all faces."""
        return tuple(b for f in self.faces for b in f.shut.bolts)

    @property
    def seam_mm(self) -> float:
        """Length of the bolt lines of all faces."""
        return sum(length(line) for f in self.faces for line in f.plan.bolt_line)

    @property
    def seams(self) -> tuple[FaceSeam, ...]:
        """The seams of all faces, each in its face's frame."""
        return tuple(FaceSeam(f.pair, f.to_mold, f.plan.outline, f.plan.seam_line) for f in self.faces)

    @property
    def gaps(self) -> tuple[int, ...]:
        """Gaps between neighbouring bolts on each piece, over both its faces."""
        n = [len(f.places.middles) for f in self.faces]
        return tuple(n[k] + n[k - 1] for k in range(len(n)))

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of all faces."""
        return tuple(k for f in self.faces for k in f.shut.keys)

    def sides(self, k: int) -> tuple[tuple[Face, FloatArray, float], ...]:
        """Both faces of piece k, each with its frame to the pull frame and the sign of x there."""
        return (
            (self.faces[k], face_to_pull(self.slope, 1.0), 1.0),
            (self.faces[k - 1], face_to_pull(self.slope, -1.0), -1.0),
        )


def face_to_pull(slope: float, side: float) -> FloatArray:
    """4x4 from the frame of a mating face to a pull frame: side 1, its face at x > 0, of which it is the first piece.

    Side -1, the face at x < 0, of which it is the second: there the frame is turned over, x runs towards the axis.
    """
    lean = float(np.hypot(1.0, slope))
    frame = np.eye(4)
    frame[:3, 0] = (1.0 / lean, 0.0, side * slope / lean)
    frame[:3, 2] = (-side * slope / lean, 0.0, 1.0 / lean)
    return frame


def lay_radial(settings: Settings, bare: Facets, cells: tuple[Cell, ...], on_board: bool) -> Radial:
    """Drape all cells and lay their mating faces. bare : the pattern with its lip, in the mold frame."""
    count = len(cells)
    slope = float(1 / np.tan(np.pi / count))

    def draped_one(k: int, mesh: Facets) -> Draped:
        return drape(cells[k], mesh, settings, on_board, not on_board and cells[k].name == "A")

    def cores(made: Sequence[Draped]) -> list[list[FloatArray]]:
        return radial_cores(cells, [d.skins.jacket for d in made], made[0].spec.jacket_mm, slope)

    draped = widened(bare, count, draped_one, cores)
    plans = [_plan(settings, draped[k], draped[(k + 1) % count], slope, count, on_board) for k in range(count)]
    faces = []
    for k, plan in enumerate(plans):
        first, second = cells[k], cells[(k + 1) % count]
        if not plan.bolt_line:
            raise DesignError(
                f"parting.axis_at_mm: no bolt fits on the mating face of pieces {first.name} and {second.name}; the "
                "pattern hardly reaches beyond the axis there. Move the axis, or turn parting.angle_deg."
            )
        places = find_places(plan, settings, lean_deg=90.0 - 180.0 / count)
        frame = first.pull_to_mold @ face_to_pull(slope, 1.0)
        shut = closing(places, settings, (first.name, second.name), frame)
        faces.append(Face((first.name, second.name), frame, plan, places, shut))
    if on_board and settings.shell.feet:
        faces = _with_star(faces)
    return Radial(draped, tuple(faces), slope)


def radial_cores(
    cells: Sequence[Cell], jackets: Sequence[Envelope], grown_mm: float, slope: float
) -> list[list[FloatArray]]:
    """For each piece the points (k, 3) of the mold frame that bring its room up to its neighbours' on their faces.

    jackets : of the cells, each in its pull frame. grown_mm : by which the pattern was grown for them.
    """
    found: list[list[FloatArray]] = [[] for _ in cells]
    for k, cell in enumerate(cells):
        other = (k + 1) % len(cells)
        rooms = [_region(cells[i], jackets[i], side, slope, 0.0) for i, side in ((k, 1.0), (other, -1.0))]
        far = max(abs(v) for room in rooms for v in (*room.bounds, 1.0))
        rooms = [room.intersection(box(0.0, -far, far, far)) for room in rooms]
        to_mold = cell.pull_to_mold @ face_to_pull(slope, 1.0)
        for piece, own, theirs in ((k, *rooms), (other, *rooms[::-1])):
            points = core_points(own, theirs, grown_mm)
            if len(points):
                found[piece].append(transform(np.column_stack([points, np.zeros(len(points))]), to_mold))
    return found


def _plan(settings: Settings, first: Draped, second: Draped, slope: float, count: int, on_board: bool) -> FlangePlan:
    """Outline and bolt line of the face between two neighbours, in the face's frame."""
    data = bolt_data(str(settings.bolts.size))
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    head = flange_mm + data.nut_m_mm + HEAD_MM
    section = shapely.union_all(
        [_wall(d, side, slope, h) for d, side in ((first, 1.0), (second, -1.0)) for h in (0.0, flange_mm, head)]
    )
    if not section.is_empty:
        _, low, far, high = section.bounds
        section = section.intersection(box(0.0, low - 1, max(far, 0.0) + 1, high + 1))
    if section.area < 1.0:
        names = f"{first.cell.name} and {second.cell.name}"
        raise DesignError(
            f"parting.axis_at_mm: the mating face of pieces {names} misses the pattern. Move the axis into the "
            "pattern, or turn parting.angle_deg."
        )
    whole = section
    if section.bounds[0] < AXIS_MM:  # it reaches the axis: grown as one with its mirror image, it stays square to it
        whole = shapely.union_all([section, turned_over(section), _spine(section)])
    return flange_plan(
        whole,
        width_mm=float(settings.flange.width_mm or 0.0),
        bolt_mm=bolt_offset_mm(data),
        rounding_mm=max(0.75 * data.washer_od_mm, 6.0),
        board_gap_mm=flange_mm + data.washer_od_mm / 2 + 2.0 if on_board else None,
        axis_gap_mm=_axis_gap_mm(flange_mm, data.washer_od_mm, data.d_mm, count),
    )


def _wall(d: Draped, side: float, slope: float, height_mm: float) -> BaseGeometry:
    """Where a piece's wall stands at a height over one of its faces, in the face's plan."""
    return _region(d.cell, d.skins.outside, side, slope, height_mm)


def _region(cell: Cell, skin: Envelope, side: float, slope: float, height_mm: float) -> BaseGeometry:
    """Where one of a piece's skins lies over a height over one of its faces, in the face's plan.

    Walls lie along the pull, which leans over the face away from the axis: bolts must clear them up to their heads.
    """
    lean = float(np.hypot(1.0, slope))
    g = skin.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    over = level_region(skin.heights_mm - cell.parting.at(x, y), g, height_mm * lean)
    flat = scale(over, xfact=side * lean, yfact=1.0, origin=(0, 0))
    return translate(flat, xoff=slope * height_mm)


def _spine(section: BaseGeometry) -> BaseGeometry:
    """What joins a section that starts just off the axis with its mirror image."""
    near = section.intersection(box(0.0, section.bounds[1], AXIS_MM, section.bounds[3]))
    return shapely.union_all([box(-AXIS_MM, p.bounds[1], AXIS_MM, p.bounds[3]) for p in polygons(near)])


def _axis_gap_mm(flange_mm: float, washer_mm: float, bolt_mm: float, count: int) -> float:
    """Least distance of a bolt from the axis: its head and nut clear the same piece's other plate, which leans over."""
    apart = 2 * np.pi / count
    heads = [flange_mm, flange_mm + 3.0 * bolt_mm]
    clear = max((flange_mm + h * np.cos(apart)) / np.sin(apart) for h in heads)
    return float(clear) + washer_mm / 2 + 1.5


def _with_star(faces: list[Face]) -> list[Face]:
    """A mounted shell is turned over to be filled: all flanges get a flat top of one height and stand as a star."""
    top = max(f.plan.outline.bounds[3] for f in faces) + BAR_MM
    out = []
    for face in faces:
        outline = face.plan.outline
        own = outline.bounds[3]
        crest = outline.intersection(box(-1.0, own - 0.5, outline.bounds[2] + 1, own + 1)).centroid.x
        bar = box(0.0, own - 4.0, max(crest + BAR_HALF_MM, 0.5 * outline.bounds[2]), top)
        filled = shapely.union_all([outline, bar]).buffer(BAR_ROUND_MM).buffer(-BAR_ROUND_MM)
        filled = filled.intersection(box(0.0, outline.bounds[1], filled.bounds[2], top))
        joined = max(polygons(filled), key=lambda p: p.area).simplify(0.02)
        plan = replace(face.plan, outline=shapely.geometry.polygon.orient(joined))
        out.append(replace(face, plan=plan))
    return out
