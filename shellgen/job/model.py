"""What the user asks for: the job file as typed, validated, frozen data. Lengths in mm, angles in degrees."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Vector = tuple[float, float, float]
Side = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Units = Literal["mm", "cm", "m", "in", "ft"]
BoltSize = Literal["M4", "M5", "M6", "M8", "M10", "M12", "1/4 in", "5/16 in"]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]


class Section(BaseModel):
    """Base of every table of the job file: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class PatternSettings(Section):
    """Where the pattern's mesh is and how it stands."""

    file: str | None = Field(
        None, description="Mesh file (STL, OBJ, PLY, 3MF, GLB, OFF, STEP), relative to the job file."
    )
    demo: Literal["gate-finial", "horn-bell"] | None = Field(None, description="A pattern made by the tool itself.")
    units: Units = Field("mm", description="Unit of the numbers in the mesh file.")
    scale: Positive = Field(1.0, description="Factor on the mesh after its unit.")
    longest_side_mm: Positive | None = Field(None, description="Scale the mesh so that its longest side is this.")
    up: Side = Field("+z", description="Axis of the mesh file that points up.")
    rotate_deg: tuple[Finite, Finite, Finite] = Field((0.0, 0.0, 0.0), description="Turns about x, y, z after `up`.")
    mirror: bool = Field(False, description="Mirror in x: the other hand of a pair.")


class MountSettings(Section):
    """How the pattern stands while the jacket and the shell are made."""

    kind: Literal["board", "stem", "none"] = Field(
        "none", description="Flat base on a board, closed body on a stem, or closed body with nothing to stand on."
    )
    cut_mm: NotNegative = Field(
        0.0, description="Board: height above the lowest point at which the pattern is cut flat."
    )
    stem_diameter_mm: Positive | None = Field(None, description="Stem: its diameter; left out, from the size.")
    stem_length_mm: Positive | None = Field(
        None, description="Stem: from the board to the pattern's lowest point; left out, from the size."
    )
    stem_at_mm: tuple[Finite, Finite] | None = Field(
        None, description="Stem: its place from the pattern's middle; left out, where it holds best."
    )
    lip_mm: NotNegative = Field(10.0, description="Width of the rubber lip on the board.")
    flange_mm: Positive | None = Field(None, description="Width of the base flange.")
    bolts: bool = Field(True, description="Holes to bolt the shell to the board.")
    bolt_pitch_mm: Positive = Field(110.0, description="Greatest distance between two board bolts.")


class PlaneSettings(Section):
    """A plane by its normal, or by an angle about the vertical."""

    normal: Vector | None = Field(None, description="Normal of the plane in the mold frame.")
    angle_deg: Finite | None = Field(
        None, description="Upright plane: angle of its normal from +x, about the vertical."
    )
    offset_mm: Finite | None = Field(
        None, description="Distance of the plane from the origin along its normal; left out, the middle."
    )


class SplitSettings(PlaneSettings):
    """One of a list of planes: where it lies, and which piece it splits."""

    splits: str | None = Field(None, description="Piece that the plane splits; left out, the last one made.")


class ClearSettings(Section):
    """A box in the mold frame that the seam should keep out of."""

    low_mm: tuple[Finite, Finite, Finite] = Field(description="Lowest corner of the box, in the mold frame.")
    high_mm: tuple[Finite, Finite, Finite] = Field(description="Highest corner of the box, in the mold frame.")


class PartingSettings(Section):
    """Where the shell comes apart."""

    kind: Literal["plane", "radial", "planes"] = Field(
        "plane",
        description="Two halves by one plane, pieces about an upright axis, or pieces between a list of planes.",
    )
    plane: Literal["middle", "best"] | PlaneSettings = Field("middle", description="The parting plane of two halves.")
    follow: Literal["plane", "silhouette"] = Field(
        "plane", description="The mating face: flat, or stepped along the pattern's widest line."
    )
    slope_deg: Annotated[float, Field(ge=15, le=60)] = Field(45.0, description="Steepest step of a stepped parting.")
    keep_clear: tuple[ClearSettings | Side, ...] = Field(
        (), description="Places that the seam should not cross, when the best plane is looked for."
    )
    pieces: Annotated[int, Field(ge=3, le=6)] = Field(3, description="Radial: number of pieces.")
    axis_at_mm: tuple[Finite, Finite] | None = Field(
        None, description="Radial: place of the axis; left out, the middle."
    )
    angle_deg: Finite = Field(0.0, description="Radial: turn of the first parting plane from +x.")
    planes: tuple[SplitSettings, ...] = Field(
        (), description="Planes, one after the other: the first makes A (its normal's side) and B, each later one more."
    )


class JacketSettings(Section):
    """The rubber."""

    thickness_mm: Annotated[float, Field(ge=1, le=60)] = Field(
        8.0, description="Rubber everywhere at least this thick."
    )
    method: Literal["brush", "pour"] = Field(
        "brush", description="Rubber brushed on the pattern, or poured into the gap between pattern and shell."
    )
    clearance_mm: NotNegative | None = Field(None, description="Gap between rubber and shell.")
    crevice_mm: Annotated[float, Field(ge=0.5, le=60)] = Field(
        5.0, description="Crevices under this radius are filled with rubber."
    )
    draft_deg: Annotated[float, Field(ge=0.5, le=15)] = Field(3.0, description="Least slope of the walls to the pull.")
    keys: bool = Field(True, description="Domes on the rubber that nest in the shell.")
    key_height_mm: Positive | None = Field(None, description="Height of these domes.")
    key_spacing_mm: Positive | None = Field(None, description="Distance between them.")


class ShellSettings(Section):
    """The rigid support shell."""

    wall_mm: Annotated[float, Field(ge=1, le=60)] = Field(6.0, description="Wall at least this thick.")
    material: str = Field(
        "petg",
        description="Its material: petg, pla, abs, laminate, tooling-board, mdf, plywood, plaster or aluminium.",
    )
    modulus_mpa: Positive | None = Field(
        None, description="Stiffness of the shell, as measured on a coupon; left out, the material's own, in MPa."
    )
    labels: bool = Field(True, description="Engrave job, part, pull arrow, pair marks.")
    feet: bool = Field(True, description="Flat feet so that the shell stands with its opening up.")
    pins: bool = Field(True, description="Two pin holes that set the shell back on its board.")


class FlangeSettings(Section):
    """The parting flange."""

    width_mm: Positive | None = Field(None, description="From the outside of the wall to the edge.")
    thickness_mm: Positive | None = Field(None, description="Thickness, not under the wall.")
    keys: Literal["cone", "dome"] = Field("cone", description="Shape of the registration keys.")
    key_clearance_mm: NotNegative = Field(0.2, description="Gap between a key and its socket.")
    pry_slots: bool = Field(True, description="Slots at the edge to open the shell with a flat bar.")
    gussets: bool = Field(False, description="Webs between flange and wall, between bolts; not between planes.")


class BoltSettings(Section):
    """The bolts through the parting flange."""

    size: BoltSize | None = Field(None, description="Thread of the bolts.")
    pitch_mm: Positive | Literal["auto"] | None = Field(
        None, description='Greatest distance between two bolts; "auto" has it calculated from the joint.'
    )
    fit: Literal["fine", "medium", "coarse"] = Field("medium", description="Clearance hole by ISO 273.")
    nut: Literal["washer", "pocket", "insert"] = Field(
        "washer",
        description="What takes the thread in the second half: washer and nut, nut in a hex pocket, heat-set insert.",
    )
    flash_limit_mm: Positive | None = Field(
        None, description="Opening of the seam between two bolts that still casts clean; left out, 0.2."
    )
    torque_nm: Positive | None = Field(
        None, description="Hand torque; left out, what the flange bears under the washer."
    )


class PortSettings(Section):
    """The opening that resin goes in by, where there is no open base."""

    diameter_mm: Positive | None = Field(None, description="Bore of the port; 40 or more where the size allows.")
    lid: bool = Field(True, description="A bolted lid that closes the opening while rolling.")
    lid_thickness_mm: Positive | None = Field(None, description="Thickness of the lid.")


class LimitSettings(Section):
    """What the workshop can take."""

    bed_mm: Vector | None = Field(
        None, description="Printer bed; left out, no part is too large, given, larger parts fail."
    )
    lift_kg: Positive | None = Field(
        None, description="Heaviest load one person lifts; left out, 23 kg warns, given, more fails."
    )


class OutputSettings(Section):
    """What is written."""

    pictures: bool = Field(True, description="Draw pictures.")
    layout: bool = Field(False, description="Also a copy of each part laid flat for its bed or bench.")
    step: bool = Field(True, description="STEP of shell pieces and lid.")
    step_tolerance_mm: Annotated[float, Field(ge=0.02, le=2)] = Field(0.15, description="Tolerance of the STEP faces.")
    step_faceted_fallback: bool = Field(False, description="Write flat facets where no true STEP faces can be made.")
    mesh_tolerance_mm: Annotated[float, Field(ge=0.005, le=1)] = Field(0.06, description="Tolerance of the triangles.")


class RasterSettings(Section):
    """How finely the tool works."""

    pitch_mm: Annotated[float, Field(ge=0.1, le=10)] | None = Field(None, description="Raster step.")


class PieceSettings(Section):
    """What differs for one piece."""

    thickness_mm: Annotated[float, Field(ge=1, le=60)] | None = Field(None, description="Rubber under this piece.")
    wall_mm: Annotated[float, Field(ge=1, le=60)] | None = Field(None, description="Wall of this piece.")
    draft_deg: Annotated[float, Field(ge=0.5, le=15)] | None = Field(None, description="Draft of this piece.")
    clearance_mm: NotNegative | None = Field(None, description="Gap between rubber and this piece.")
    pull: Vector | None = Field(
        None, description="Way it leaves, with a list of planes; left out, the bisector of its mating planes."
    )


class Settings(Section):
    """A whole job file."""

    name: Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]*$")] = Field(
        "job", description="Name of the job and of its output folder."
    )
    pattern: PatternSettings = PatternSettings()  # type: ignore[call-arg]
    mount: MountSettings = MountSettings()  # type: ignore[call-arg]
    parting: PartingSettings = PartingSettings()  # type: ignore[call-arg]
    jacket: JacketSettings = JacketSettings()  # type: ignore[call-arg]
    shell: ShellSettings = ShellSettings()  # type: ignore[call-arg]
    flange: FlangeSettings = FlangeSettings()  # type: ignore[call-arg]
    bolts: BoltSettings = BoltSettings()  # type: ignore[call-arg]
    port: PortSettings = PortSettings()  # type: ignore[call-arg]
    pieces: dict[str, PieceSettings] = Field(default_factory=dict, description="What differs for piece A, B, ...")
    limits: LimitSettings = LimitSettings()  # type: ignore[call-arg]
    outputs: OutputSettings = OutputSettings()  # type: ignore[call-arg]
    raster: RasterSettings = RasterSettings()  # type: ignore[call-arg]
