"""Partings along the silhouette: a tilted disc whose silhouette is known, rubber against the plane's, refusals."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh

import shellgen
from shellgen.envelope.facets import facets
from shellgen.envelope.raster import Grid
from shellgen.errors import DesignError
from shellgen.job.defaults import fill_in
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.design import design
from shellgen.mold.step import Silhouette, followed, silhouette
from shellgen.parting.cells import halves
from shellgen.parting.columns import EMPTY
from shellgen.parting.stepped import SLOPE_LIMIT_DEG, steepest_deg
from shellgen.parting.surface import SteppedParting
from shellgen.pattern.intake import take_in

TILT_DEG = 30.0
RADIUS_MM, THICK_MM, RUBBER_MM = 45.0, 1.0, 8.0


def disc():
    """A thin round disc, tilted about x."""
    mesh = trimesh.creation.cylinder(radius=RADIUS_MM, height=THICK_MM, sections=180)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(np.radians(TILT_DEG), [1, 0, 0]))
    return mesh


def settings_of(path, follow, **parting):
    return Settings.model_validate(
        {
            "name": "disc",
            "pattern": {"file": str(path)},
            "parting": {"plane": {"normal": [0, 0, 1]}, "follow": follow, **parting},
            "jacket": {"thickness_mm": RUBBER_MM, "keys": False},
            "raster": {"pitch_mm": 1.0},
            "outputs": {"pictures": False, "step": False},
        }
    )


@pytest.fixture(scope="module")
def molds(tmp_path_factory):
    folder = tmp_path_factory.mktemp("disc")
    path = folder / "disc.stl"
    disc().export(path)
    return {f: shellgen.make_mold(Job(settings_of(path, f), folder / "job.toml")) for f in ("plane", "silhouette")}


def jacket_of(mold):
    return next(p for p in mold.parts if p.kind == "jacket").volume_mm3


def solid_of(part):
    return m3.Manifold(m3.Mesh64(np.array(part.vertices_mm), np.array(part.faces, np.uint64)))


def test_stepped_face_lies_on_the_known_silhouette():
    """Where the grown disc's normal is level, its height is that of the rim's circle next to it: R sin(phi) sin(tilt).

    The grown rim is a tube about the circle c(phi); in the tube's plane, spanned by the radial direction and the disc's
    normal, exactly one direction outwards is level, and a level step does not change the height.
    """
    settings = fill_in(settings_of("disc.stl", "silhouette"), [[-45, -45, -25], [45, 45, 25]])
    mesh = disc()
    cells = halves(settings.parting, np.array(mesh.bounds), upright=False)
    seen = silhouette(facets(mesh.vertices, mesh.faces.astype(np.int32), 8.0), cells, settings, on_board=False)
    surface = seen.surface()
    tilt, phi = np.radians(TILT_DEG), np.linspace(0, 2 * np.pi, 73)[:-1]
    radial = np.column_stack([np.cos(phi), np.sin(phi) * np.cos(tilt), np.sin(phi) * np.sin(tilt)])
    normal = np.array([0.0, -np.sin(tilt), np.cos(tilt)])
    level = radial * normal[2] - np.outer(radial[:, 2], normal)
    level /= np.linalg.norm(level, axis=1)[:, None]
    level *= np.sign(np.einsum("ij,ij->i", level, radial))[:, None]
    circle = RADIUS_MM * radial
    rim = circle + RUBBER_MM * level
    axes = cells[0].pull_to_mold[:3, :3]
    local = (rim - cells[0].pull_to_mold[:3, 3]) @ axes
    wanted = (circle - cells[0].pull_to_mold[:3, 3]) @ axes[:, 2]
    found = surface.at(local[:, 0], local[:, 1])
    assert np.abs(wanted).max() == pytest.approx(RADIUS_MM * np.sin(tilt), rel=0.01)
    # half the disc's thickness, half a raster step up the slope, and the smoothing over 2 mm
    assert np.abs(found - wanted).max() < THICK_MM / 2 + 0.5 + 1.2
    assert steepest_deg(surface.heights_mm, surface.grid) <= 45.5


def test_stepping_saves_what_it_says(molds):
    """The jackets differ by what was predicted, measured on the solids; most of the plane's fill is saved."""
    plane, stepped = molds["plane"], molds["silhouette"]
    assert isinstance(stepped.design.pieces[0].parting, SteppedParting)
    saved = jacket_of(plane) - jacket_of(stepped)
    said = 1e3 * (stepped.quantities["fill_cm3"] - stepped.quantities["stepped_fill_cm3"])
    assert said == pytest.approx(saved, rel=0.03)
    assert saved > 0.8 * 1e3 * plane.quantities["fill_cm3"]
    assert stepped.quantities["stepped_fill_cm3"] <= stepped.quantities["fill_cm3"]


def test_both_halves_share_one_mating_face(molds):
    """Neither overlaps the other, and points of one face lie on the other to the last digits."""
    first, second = (p for p in molds["silhouette"].parts if p.kind == "shell")
    assert (solid_of(first) ^ solid_of(second)).volume() < 0.5
    other = {tuple(v) for v in np.round(second.vertices_mm, 9)}
    shared = sum(tuple(v) in other for v in np.round(first.vertices_mm, 9))
    assert shared > 500


def test_stepped_pieces_draw_and_are_whole(molds):
    mold = molds["silhouette"]
    rubber = solid_of(next(p for p in mold.parts if p.kind == "jacket"))
    shells = [p for p in mold.parts if p.kind == "shell"]
    for part, other in zip(shells, shells[::-1], strict=True):
        assert len(solid_of(part).decompose()) == 1
        assert solid_of(part).genus() == part.genus
        for move in (1.0, 10.0, 100.0):
            drawn = solid_of(part).translate(tuple(move * np.asarray(part.pull)))
            assert (drawn ^ rubber).volume() + (drawn ^ solid_of(other)).volume() < 1.0


def test_washers_lie_on_flat_seats(molds):
    """Under each washer's ring there is flange, over it nothing, at the seats that the manifest names."""
    mold = molds["silhouette"]
    solids = {p.name: solid_of(p) for p in mold.parts}
    levels = set()
    for bolt in (b for b in mold.design.bolts if b.setup == "closing"):
        ends = np.asarray(bolt.seats_mm)
        for name, seat, far in ((bolt.pair[0], ends[0], ends[1]), (bolt.pair[1], ends[1], ends[0])):
            out = (seat - far) / np.linalg.norm(seat - far)
            levels.add(round(float(seat[2]), 1))
            flip = np.diag([1.0, out[2], out[2]])  # pulls are +z and -z
            frame = np.column_stack([flip, seat])
            ring = m3.Manifold.cylinder(0.3, 5.0, 5.0, 48) - m3.Manifold.cylinder(0.3, 3.0, 3.0, 48)
            under = ring.translate((0, 0, -0.32)).transform(frame)
            over = m3.Manifold.cylinder(1.5, 5.0, 5.0, 48).translate((0, 0, 0.02)).transform(frame)
            assert (under ^ solids[name]).volume() > 0.97 * under.volume()
            assert (over ^ solids[name]).volume() < 0.5
    assert max(levels) - min(levels) > 20.0  # the seats do climb with the disc


def test_a_ball_keeps_its_plane(tmp_path):
    trimesh.creation.icosphere(subdivisions=4, radius=30.0).export(tmp_path / "ball.stl")
    mold = shellgen.make_mold(Job(settings_of(tmp_path / "ball.stl", "silhouette"), tmp_path / "job.toml"))
    assert mold.design.pieces[0].parting.flat
    assert "stays flat" in " ".join(mold.design.notes)
    assert mold.quantities["stepped_fill_cm3"] == mold.quantities["fill_cm3"]


def test_too_steep_terraces_are_refused_with_a_limit_that_works():
    """A slope at the limit with wide terraces close together cannot be kept; the limit named can."""
    x, _ = np.meshgrid(np.arange(-60.0, 61.0), np.arange(-30.0, 31.0))
    height = 1.7 * x
    seen = followed(Grid(-60.0, -30.0, 1.0, 61, 121), height - 0.5, height + 0.5, 0, 60.0)
    seats = [(s, 0.0, 6.5) for s in (-40.0, -20.0, 0.0, 20.0, 40.0)]
    surface = seen.surface(seats)
    with pytest.raises(DesignError, match=r"slope_deg = 60: .* nearest that works is (\d+)") as refusal:
        seen.require_slope(surface, seats)
    named = float(str(refusal.value).rsplit(" ", 1)[-1].rstrip("."))
    gentler = followed(seen.grid, seen.lower_mm, seen.upper_mm, 0, named)
    found = gentler.surface(seats)
    assert steepest_deg(found.heights_mm, found.grid) <= SLOPE_LIMIT_DEG
    gentler.require_slope(found, seats)


def test_a_slope_nobody_asked_for_gives_way_and_one_asked_for_is_refused(tmp_path, monkeypatch):
    disc().export(tmp_path / "disc.stl")

    def narrow(seen, surface, seats):
        if seen.slope_deg > 40:
            raise DesignError("too steep for the seats")

    monkeypatch.setattr(Silhouette, "require_slope", narrow)

    def laid(**parting):
        settings = settings_of(tmp_path / "disc.stl", "silhouette", **parting)
        pattern = take_in(settings, tmp_path)
        return design(fill_in(settings, pattern.bounds_mm), pattern)

    plan = laid()
    assert isinstance(plan.pieces[0].parting, SteppedParting)
    assert any("held to 35 degrees" in note for note in plan.notes)
    with pytest.raises(DesignError, match="too steep for the seats"):
        laid(slope_deg=45)


def test_a_limit_that_cannot_keep_to_the_silhouette_is_said_with_the_nearest_that_does():
    """A bar that climbs at 40 degrees: 20 loses part of it, 45 is the first of the steps of 5 that follows."""
    x = np.linspace(-60, 60, 121)
    inside = np.abs(np.linspace(-30, 30, 61)) <= 8
    middle = np.tile(x * np.tan(np.radians(40)), (61, 1))
    body = inside[:, None] & (np.abs(x) <= 45)[None, :]
    lower, upper = np.where(body, middle - 4, EMPTY), np.where(body, middle + 4, -EMPTY)
    grid = Grid(-60.0, -30.0, 1.0, 61, 121)
    gentle, steep = (followed(grid, lower, upper, 0, a) for a in (20.0, 45.0))
    assert steep.limit_note() == "" and steep.kept_from_mm3() < 0.1 * gentle.kept_from_mm3()
    said = gentle.limit_note()
    assert "slope_deg = 20" in said and "cm3 stay filled" in said
    nearest = float(said.rsplit(" is ", 1)[1].rstrip("."))
    assert 30 <= nearest <= 45 and followed(grid, lower, upper, 0, nearest).limit_note() == ""
