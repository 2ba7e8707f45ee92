"""The designed mold and the finished one: what the steps hand to each other. Lengths mm, mold frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from shapely.geometry import Polygon

from shellgen.envelope.raster import FloatArray
from shellgen.job.model import Settings
from shellgen.pattern.pattern import IntArray, Pattern
from shellgen.solid.recipe import PieceRecipe, PlateRecipe, Point

End = Literal["washer", "pocket", "insert", "board"]
PartKind = Literal["shell", "jacket", "lid", "spacer"]


@dataclass(frozen=True, slots=True)
class Bolt:
    """A bolt between two parts, or a part and `board`; seats in the mold frame, the first on the first of the pair.

    setup : "closing" holds pieces together, "board" holds the shell on its board, "lid" holds the lid.
    """

    pair: tuple[str, str]
    size: str
    seats_mm: tuple[Point, Point]
    ends: tuple[End, End]
    setup: Literal["closing", "board", "lid"]
    hole_mm: float


@dataclass(frozen=True, slots=True)
class Key:
    """A registration key: the male on the first part of the pair, its middle at `at_mm` in the parting."""

    pair: tuple[str, str]
    kind: str
    at_mm: Point
    radius_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class FaceSeam:
    """A mating face between planes, in its own frame: its flange, and the lines (n, 2) on which its bolts stand.

    The lines run on to where the face ends; one whose ends meet is closed. to_mold : 4x4.
    """

    pair: tuple[str, str]
    to_mold: FloatArray
    outline: Polygon
    lines: tuple[FloatArray, ...]


@dataclass(frozen=True, slots=True)
class JacketKey:
    """A dome on the rubber under one piece: its top."""

    piece: str
    at_mm: Point
    radius_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class VentHole:
    """A hole that rubber goes in or air gets out by: piece, use, its upper edge, bore, air that stays without it."""

    piece: str
    use: str
    at_mm: Point
    bore_mm: float
    air_mm3: float


@dataclass(frozen=True, slots=True)
class Spacer:
    """A round pad in the gap under one piece: the foot of its axis on the pattern, its height along the pull there."""

    name: str
    piece: str
    at_mm: Point
    thickness_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Pour:
    """How a poured jacket fills: its holes, the pour first, the air that stays all the same, what holds the gap."""

    holes: tuple[VentHole, ...]
    trapped_mm3: float
    spacers: tuple[Spacer, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class MoldDesign:
    """Everything that was decided, before any solid is made. `settings` has no default left open.

    keys_mm3 : the rubber that the jacket keys add. seams : the mating faces of pieces between a list of planes; of
    others the pieces' outlines tell them.
    """

    settings: Settings
    pattern: Pattern
    pieces: tuple[PieceRecipe, ...]
    plates: tuple[PlateRecipe, ...]
    bolts: tuple[Bolt, ...]
    keys: tuple[Key, ...]
    jacket_keys: tuple[JacketKey, ...]
    assembly: tuple[str, ...]
    notes: tuple[str, ...] = ()
    pour: Pour | None = None
    keys_mm3: float = 0.0
    seams: tuple[FaceSeam, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A finished solid in the mold frame: a closed triangle mesh.

    vertices_mm : (n, 3) float64, faces : (m, 3) int32. pull : unit vector along which a rigid part leaves, None for
    rubber. genus : through holes by design, None where it depends on the pattern.
    """

    name: str
    kind: PartKind
    vertices_mm: FloatArray
    faces: IntArray
    volume_mm3: float
    pull: Point | None
    genus: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Mold:
    """The finished mold: the design and its solids."""

    design: MoldDesign
    parts: tuple[Part, ...]
    quantities: dict[str, float] = field(default_factory=dict)
