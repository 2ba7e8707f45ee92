"""Pieces between a list of planes: one flange plan and one closing on each mating face, carried to both its pieces.

A mating face's frame has z along its normal into the first piece, y up; the second piece's frame of it is the same
turned over. Each piece gets the face's plate on its own side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.affinity import affine_transform
from shapely.geometry import MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from shellgen.envelope.facets import Facets
from shellgen.envelope.raster import Envelope, FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.bolt_row import length
from shellgen.mold.closing import Closing, closing
from shellgen.mold.drape import Draped, drape
from shellgen.mold.face_places import face_places
from shellgen.mold.feet import BAR_MM
from shellgen.mold.flange import FlangePlan, level_region, plan_within, polygons
from shellgen.mold.met_rooms import core_points, widened
from shellgen.mold.mold import Bolt, FaceSeam, Key
from shellgen.mold.places import Places, bolt_offset_mm
from shellgen.mold.radial import BAR_HALF_MM, BAR_ROUND_MM, HEAD_MM
from shellgen.mold.roofs import without_roofs
from shellgen.parting.cells import TURN_OVER
from shellgen.parting.mating import Meeting, within
from shellgen.parting.pulls import ALONG
from shellgen.parting.shares import Arrangement, Share
from shellgen.parting.split import BOARD, Bound
from shellgen.parting.surface import PlanesParting
from shellgen.solid.cell_cut import lowest_mm
from shellgen.solid.recipe import inverse, transform
from shellgen.standards.fasteners import bolt as bolt_data

LEAST_LEAN_DEG = 25.0  # keys are at least as blunt as for a pull that leans so
OFF_EDGE_MM = 2.0  # a washer keeps that far from what ends its face
LEAST_MM2 = 25.0  # walls that meet in less than that do not mate
SLICES = 5  # a wall along the pull is looked at in that many slices up to the height of a nut
FLUSH = 0.1  # sine of the angle under which two plates of a piece go on in one another


@dataclass(frozen=True, slots=True, eq=False)
class MatingFace:
    """A face between two pieces: where it lies, its plan and places in its own frame, what closes it."""

    meeting: Meeting
    plan: FlangePlan
    places: Places
    shut: Closing

    def frame(self, piece: str) -> FloatArray:
        """4x4 from the piece's frame of the face to the mold frame."""
        return self.meeting.to_mold if piece == self.meeting.pair[0] else self.meeting.to_mold @ TURN_OVER


@dataclass(frozen=True, slots=True, eq=False)
class Assembled:
    """All pieces and mating faces; order : the pieces' names as they go together."""

    draped: tuple[Draped, ...]
    faces: tuple[MatingFace, ...]
    order: tuple[str, ...]
    tops: tuple[None, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def bolts(self) -> tuple[Bolt, ...]:
        """The closing bolts of all faces."""
        return tuple(b for f in self.faces for b in f.shut.bolts)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of all faces."""
        return tuple(k for f in self.faces for k in f.shut.keys)

    @property
    def seams(self) -> tuple[FaceSeam, ...]:
        """All faces as the calculation of the joint wants them."""
        return tuple(FaceSeam(f.meeting.pair, f.meeting.to_mold, f.plan.outline, f.plan.seam_line) for f in self.faces)

    @property
    def seam_mm(self) -> float:
        """Length of the bolt lines of all faces."""
        return sum(length(line) for f in self.faces for line in f.plan.bolt_line)

    @property
    def gaps(self) -> tuple[int, ...]:
        """Gaps between neighbouring bolts on each piece, over all its faces."""
        return tuple(sum(len(f.places.middles) for f in self.of(d.cell.name)) for d in self.draped)

    def of(self, piece: str) -> tuple[MatingFace, ...]:
        """The mating faces of a piece."""
        return tuple(f for f in self.faces if piece in f.meeting.pair)


def lay_planes(settings: Settings, bare: Facets, arranged: Arrangement, mounted: bool) -> Assembled:
    """Drape all pieces and lay their mating faces. bare : the pattern with its lip, in the mold frame."""

    def draped_one(k: int, mesh: Facets) -> Draped:
        share = arranged.shares[k]
        port = not mounted and share.name == "A"
        return drape(share, mesh, settings, share.on_board, port, lowest_mm(share.parting))

    draped = widened(bare, len(arranged.shares), draped_one, lambda made: _cores(made, arranged.meetings))
    draped = _opened(settings, draped, arranged.meetings)
    of = {d.cell.name: d for d in draped}
    plans = []
    for meet in arranged.meetings:
        plan = _plan(settings, meet, (of[meet.pair[0]], of[meet.pair[1]]))
        if plan is not None:
            plans.append((meet, plan))
    if mounted and settings.shell.feet and not any(b.level for d in draped for b in _share(d).lump.bounds):
        top = max(plan.outline.bounds[3] for _, plan in plans) + BAR_MM
        plans = [(meet, _with_bar(plan, meet.room, top)) for meet, plan in plans]
    faces = []
    for meet, plan in plans:
        pair = (of[meet.pair[0]], of[meet.pair[1]])
        places = face_places(plan, settings, max(LEAST_LEAN_DEG, *(_lean_deg(d, meet) for d in pair)))
        faces.append(MatingFace(meet, plan, places, closing(places, settings, meet.pair, meet.to_mold)))
    for d in draped:
        if sum(d.cell.name in b.pair for f in faces for b in f.shut.bolts) < 2:
            raise DesignError(
                f"parting.planes: piece {d.cell.name} meets the others in too little wall for two bolts. Move the "
                "planes that bound it farther into the pattern, or leave one out."
            )
    return Assembled(draped, tuple(faces), arranged.order)


def _cores(draped: Sequence[Draped], meetings: Sequence[Meeting]) -> list[list[FloatArray]]:
    """For each piece the points (k, 3) of the mold frame that bring its room up to its neighbours' on their faces."""
    of = {d.cell.name: d for d in draped}
    found: dict[str, list[FloatArray]] = {name: [] for name in of}
    for meet in meetings:
        rooms = {n: _reached(of[n], of[n].skins.jacket, meet, np.zeros(1)).intersection(meet.room) for n in meet.pair}
        for name, other in (meet.pair, meet.pair[::-1]):
            points = core_points(rooms[name], rooms[other], of[name].spec.jacket_mm)
            if len(points):
                found[name].append(transform(np.column_stack([points, np.zeros(len(points))]), meet.to_mold))
    return [found[d.cell.name] for d in draped]


def _opened(settings: Settings, draped: tuple[Draped, ...], meetings: Sequence[Meeting]) -> tuple[Draped, ...]:
    """The pieces without thin roofs where they slide under (or over) a neighbour that is hollow there."""
    of = {d.cell.name: d for d in draped}
    for meet in meetings:
        for name, other in (meet.pair, meet.pair[::-1]):
            parting = of[name].cell.parting
            normal = of[name].cell.pull_to_mold[:3, :3].T @ _inward(of[name], meet).normal
            if abs(normal[2]) > ALONG or not isinstance(parting, PlanesParting):
                continue
            side = max(parting.sides, key=lambda s: s[0] * normal[0] + s[1] * normal[1])
            skins = without_roofs(of[name], side, of[other])
            of[name] = replace(of[name], skins=skins)
    return tuple(of[d.cell.name] for d in draped)


def _share(d: Draped) -> Share:
    if not isinstance(d.cell, Share):
        raise TypeError("a piece between planes has its bounds")
    return d.cell


def _inward(d: Draped, meet: Meeting) -> Bound:
    """The face's plane as a bound of one of its pieces."""
    return next(b for b in _share(d).lump.bounds if b.plane == meet.plane)


def _lean_deg(d: Draped, meet: Meeting) -> float:
    """Between a piece's pull and the face's normal; 0 where it slides along the face, for then its neighbour leaves."""
    cosine = float(_inward(d, meet).normal @ d.cell.pull_to_mold[:3, 2])
    return float(np.degrees(np.arccos(min(cosine, 1.0)))) if cosine > ALONG else 0.0


def _plan(settings: Settings, meet: Meeting, pair: tuple[Draped, Draped]) -> FlangePlan | None:
    """Outline and bolt line of a face in its frame; None where no wall reaches it."""
    data = bolt_data(str(settings.bolts.size))
    flange_mm = float(settings.flange.thickness_mm or 0.0)
    head = flange_mm + data.nut_m_mm + HEAD_MM
    section = shapely.union_all([_wall(d, meet, head, flange_mm) for d in pair]).intersection(meet.room)
    if section.area < LEAST_MM2:
        return None
    keep = data.washer_od_mm / 2 + OFF_EDGE_MM
    gaps = [
        (b, keep + _plate_mm(_inward(d, meet), b, flange_mm, flange_mm + 3.0 * data.d_mm))
        for d in pair
        for b in _limits(d)
        if b.plane != meet.plane
    ]
    plan = plan_within(
        section,
        width_mm=float(settings.flange.width_mm or 0.0),
        bolt_mm=bolt_offset_mm(data),
        rounding_mm=max(0.75 * data.washer_od_mm, 6.0),
        room=meet.room,
        bolt_room=within(meet.room, meet.to_mold, gaps),
        edge_mm=data.washer_od_mm / 2 + 1.0,
    )
    if not plan.bolt_line:
        one, other = meet.pair
        raise DesignError(
            f"parting.planes[{meet.plane}]: no bolt fits on the mating face of pieces {one} and {other}: too little of "
            "it lies clear of the other flanges. Move that plane or those that end it, or give smaller bolts."
        )
    return plan


def _limits(d: Draped) -> Sequence[Bound]:
    """The planes that a piece ends at, and the board if it stands there."""
    share = _share(d)
    return (*share.lump.bounds, BOARD) if share.on_board else share.lump.bounds


def _plate_mm(face: Bound, other: Bound, flange_mm: float, head_mm: float) -> float:
    """How far a piece's plate on another plane reaches over a face, from where the planes meet, up to a bolt's head."""
    cosine = -float(face.normal @ other.normal)  # of the angle between both in the piece
    sine = float(np.sqrt(max(1.0 - cosine * cosine, 0.0)))
    if sine < FLUSH:
        return 0.0
    return max(0.0, *((flange_mm + h * cosine) / sine for h in (flange_mm, head_mm)))


def _wall(d: Draped, meet: Meeting, head_mm: float, flange_mm: float) -> BaseGeometry:
    """Where a piece's wall stands over a face, from its plane up to a nut's height, in the face's plan."""
    slides = float(_inward(d, meet).normal @ d.cell.pull_to_mold[:3, 2]) <= ALONG
    heights = np.linspace(0.0, head_mm, SLICES) if slides else np.array([0.0, flange_mm, head_mm])
    return _reached(d, d.skins.outside, meet, heights)


def _reached(d: Draped, skin: Envelope, meet: Meeting, heights_mm: FloatArray) -> BaseGeometry:
    """Where a piece's skin lies beyond a face or heights over it, in the face's plan."""
    to_pull = inverse(d.cell.pull_to_mold)
    into_face = inverse(meet.to_mold) @ d.cell.pull_to_mold
    normal = to_pull[:3, :3] @ _inward(d, meet).normal
    origin = (to_pull @ meet.to_mold)[:3, 3]
    if normal[2] <= ALONG:
        return _slices(skin, normal, origin, into_face, heights_mm)
    g = skin.grid
    x, y = np.meshgrid(g.x_mm, g.y_mm)
    a, b = -normal[0] / normal[2], -normal[1] / normal[2]
    c = origin[2] - a * origin[0] - b * origin[1]
    found: list[BaseGeometry] = []
    for height in heights_mm:
        lift = c + float(height) / normal[2]
        over = level_region(skin.heights_mm - (a * x + b * y + lift), g)
        found.append(_carried(over, into_face, (np.array([1.0, 0.0, a]), np.array([0.0, 1.0, b])), (0.0, 0.0, lift)))
    return shapely.union_all(found)


def _slices(
    skin: Envelope, normal: FloatArray, origin: FloatArray, into_face: FloatArray, heights_mm: FloatArray
) -> BaseGeometry:
    """What lies under a piece's skin in planes along its pull, at heights over a face that it slides on."""
    g = skin.grid
    across = np.array([-normal[1], normal[0]])
    reach = g.pitch_mm * np.hypot(g.rows, g.columns)
    s = np.arange(-reach, reach + g.pitch_mm, g.pitch_mm)
    found: list[BaseGeometry] = []
    low = skin.floor_mm
    for height in heights_mm:
        start = origin[:2] + height * normal[:2]
        top = skin.at(start[0] + s * across[0], start[1] + s * across[1])
        edge = [(s[0], low - 1.0), *zip(s, np.maximum(top, low), strict=True), (s[-1], low - 1.0)]
        way = (np.array([across[0], across[1], 0.0]), np.array([0.0, 0.0, 1.0]))
        found.append(_carried(Polygon(edge).buffer(0), into_face, way, (start[0], start[1], 0.0)))
    return shapely.union_all(found)


def _carried(
    item: BaseGeometry, matrix: FloatArray, axes: tuple[FloatArray, FloatArray], origin: Sequence[float]
) -> BaseGeometry:
    """A plan given by axes (3,) and origin in one frame, in the plan of the frame that a 4x4 leads to."""
    u, v = (matrix[:2, :3] @ axis for axis in axes)
    o = matrix[:2, :3] @ np.asarray(origin, float) + matrix[:2, 3]
    return affine_transform(item, [u[0], v[0], u[1], v[1], o[0], o[1]])


def _with_bar(plan: FlangePlan, room: Polygon, top_mm: float) -> FlangePlan:
    """A mounted shell is turned over to be filled: each flange gets a bar up to one height over the board."""
    outline = plan.outline
    low_x, _, high_x, own = outline.bounds
    crest = outline.intersection(box(low_x - 1, own - 0.5, high_x + 1, own + 1)).centroid.x
    half = max(BAR_HALF_MM, 0.25 * (high_x - low_x))
    bar = box(crest - half, own - 4.0, crest + half, top_mm)
    filled = shapely.union_all([outline, bar]).buffer(BAR_ROUND_MM).buffer(-BAR_ROUND_MM).intersection(room)
    filled = filled.intersection(box(-1e6, -1e6, 1e6, top_mm))
    joined = max(polygons(filled), key=lambda p: p.area).simplify(0.02)
    return replace(plan, outline=shapely.geometry.polygon.orient(joined))


def united(parts: Sequence[Polygon]) -> MultiPolygon:
    """Outlines that end at one another as one, hairlines between them closed, the largest part first."""
    whole = shapely.union_all(list(parts)).buffer(0.02, join_style="mitre").buffer(-0.02, join_style="mitre")
    return MultiPolygon(sorted((p for p in polygons(whole.simplify(0.01)) if p.area > 1.0), key=lambda p: -p.area))
