"""Gussets: the size that the joint's stiffness counts on, room for spanners, volumes in closed form, whole pieces."""

from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry import Point, box

import shellgen
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.flange import FlangePlan
from shellgen.mold.gussets import Stand, gussets, standing_mm3, web_plan
from shellgen.shop.joint.job import JointOptions, job_bolt, job_flange
from shellgen.shop.seams import seam_paths
from shellgen.shop.webs import webbed
from shellgen.solid.mesh import piece_solid
from shellgen.solid.recipe import Role

RADIUS_MM = 45.0


@pytest.fixture(scope="module")
def mold(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ball")
    trimesh.creation.icosphere(subdivisions=5, radius=RADIUS_MM).export(folder / "pattern.stl")
    data = {
        "name": "try",
        "pattern": {"file": str(folder / "pattern.stl")},
        "flange": {"gussets": True},
        "raster": {"pitch_mm": 1.0},
        "outputs": {"pictures": False, "step": True},
    }
    return shellgen.make_mold(Job(Settings.model_validate(data), folder / "try.toml"))


def webs_of(piece):
    return [f for f in piece.features if f.role is Role.GUSSET]


def test_webs_are_as_the_stiffness_takes_them(mold):
    """The joint counts on webs as high as the flange is wide and as thick as the wall."""
    for piece in mold.design.pieces:
        flange = job_flange(mold.design.settings, piece.name, JointOptions())
        assert webs_of(piece)
        for web in webs_of(piece):
            ring = np.array(web.shape.outer)
            over_foot = ring[3, 1] + (ring[2, 1] - ring[3, 1]) * ring[3, 0] / (ring[3, 0] - ring[2, 0])
            assert over_foot == pytest.approx(flange.thickness_mm + flange.web_mm)
            assert web.shape.length_mm == pytest.approx(flange.wall_mm)
            # the slope meets the flange's face 1 mm before the edge
            (r0, z0), (r1, z1) = ring[3], ring[2]
            at = r0 + (r1 - r0) * (flange.thickness_mm - z0) / (z1 - z0)
            assert at == pytest.approx(flange.width_mm - 1.0, abs=0.3)


def test_webs_leave_a_spanner_its_room_and_stand_in_no_post(mold):
    washer = job_bolt(mold.design.settings).washer_od_mm
    for piece in mold.design.pieces:
        plans = [web_plan(w) for w in webs_of(piece)]
        holes = [f.shape.base for f in piece.features if f.role in (Role.BOLT_HOLE, Role.INSERT)]
        feet = [f.shape for f in piece.features if f.role is Role.FOOT]
        assert holes
        assert min(p.distance(Point(h[:2])) for p in plans for h in holes) >= washer / 2 + 1.0 - 0.02
        assert all(p.distance(Point(f.base[:2])) > f.r0_mm - 0.02 for p in plans for f in feet)
        cut = [Point(c) for f in piece.features if f.role is Role.LABEL for c in _corners(f.shape)]
        assert all(p.distance(c) > 0.5 for p in plans for c in cut)


def _corners(prism):
    start, x, y = (np.array(v[:2]) for v in (prism.origin, prism.x_axis, prism.y_axis))
    return start + np.array(prism.outer) @ np.array([x, y])


def test_pieces_stay_whole_and_keep_their_holes(mold):
    for part in (p for p in mold.parts if p.kind == "shell"):
        mesh = trimesh.Trimesh(part.vertices_mm, part.faces, process=False)
        assert mesh.is_watertight
        assert mesh.euler_number == 2 - 2 * part.genus


def test_webs_add_the_volume_of_a_triangle_each(mold):
    """A right-angled triangle on each web's place, less nothing: the wall leans away from it, so a little more.

    The summed figure, with which a STEP file without webs is compared, agrees with the two solids' difference.
    """
    for piece in mold.design.pieces:
        kept = tuple(f for f in piece.features if f.role is not Role.GUSSET)
        with_webs, without = (piece_solid(p, 0.02).volume() for p in (piece, replace(piece, features=kept)))
        flange = job_flange(mold.design.settings, piece.name, JointOptions())
        triangle = 0.5 * (flange.width_mm - 1.0) * flange.web_mm * flange.wall_mm
        added = (with_webs - without) / len(webs_of(piece))
        assert triangle < added < 2.0 * triangle
        assert standing_mm3(piece) == pytest.approx(with_webs - without, rel=0.02)


def test_webs_stay_out_of_the_jacket(mold):
    def solid(part):
        return m3.Manifold(m3.Mesh64(np.array(part.vertices_mm), np.array(part.faces, np.uint64)))

    jacket = solid(next(p for p in mold.parts if p.kind == "jacket"))
    for part in (p for p in mold.parts if p.kind == "shell"):
        assert (jacket ^ solid(part)).volume() < 1.0


def test_pieces_between_planes_reckon_with_none():
    """They are built without webs, so their joint must not count on any; halves and radial pieces have them."""
    planes = {"kind": "planes", "planes": [{"angle_deg": 0}, {"angle_deg": 90}]}
    webs = []
    for parting in (planes, {"kind": "radial"}, {"kind": "plane"}):
        tables = {"parting": parting, "flange": {"gussets": True, "width_mm": 16, "thickness_mm": 8}}
        settings = Settings.model_validate({"name": "try", "pattern": {"demo": "horn-bell"}, **tables})
        webs.append(job_flange(settings, "A", JointOptions()).web_mm)
    assert webs == [0.0, 16.0, 16.0]


def test_a_web_runs_into_a_wall_that_hangs_over_it():
    """A wall that leans out by 30 degrees: its foot lies farther in than its head, and the web must reach it.

    The wall's face is x = z tan 30; the web's foot is taken where its head stands, so it runs back by all of that.
    """
    lean = np.tan(np.radians(30.0))
    section = box(-60.0, -40.0, 16.0 * lean, 40.0)
    outline = box(-60.0, -50.0, 16.0 * lean + 20.0, 50.0)
    stand = Stand(
        plan=FlangePlan(section, outline, (), ()),
        wall_mm=6.0,
        width_mm=16.0,
        low_mm=0.0,
        face=lambda at: np.full(len(at), 8.0),
        solid=lambda at: at[:, 0] <= at[:, 2] * lean,
        keep_off=shapely.Polygon(),
        washer_mm=12.0,
        axes_mm=np.zeros((0, 3)),
    )
    (web,) = gussets(stand, np.array([[16.0 * lean + 8.0, 0.0]]))
    inner = -web.shape.outer[0][0]
    foot = (16.0 - 8.0) * lean  # from where the wall stands at the flange's face to the web's corner
    assert foot < inner < foot + 4.0


def test_a_web_that_would_close_a_hollow_is_left_out():
    """A wall with a groove close behind its face at half the web's height."""

    def solid(at):
        return (at[:, 0] <= 0.0) & ~((np.abs(at[:, 2] - 14.0) < 2.0) & (np.abs(at[:, 0] + 1.2) < 0.8))

    def stand(of):
        plan = FlangePlan(box(-60.0, -40.0, 0.0, 40.0), box(-60.0, -50.0, 20.0, 50.0), (), ())
        face, empty = (lambda at: np.full(len(at), 8.0)), shapely.Polygon()
        return Stand(plan, 6.0, 16.0, 0.0, face, of, empty, 12.0, np.zeros((0, 3)))

    middle = np.array([[8.0, 0.0]])
    assert len(gussets(stand(lambda at: at[:, 0] <= 0.0), middle)) == 1
    assert gussets(stand(solid), middle) == ()


@pytest.mark.slow
def test_radial_pieces_have_webs_and_no_other_holes(tmp_path):
    trimesh.creation.icosphere(subdivisions=5, radius=RADIUS_MM).export(tmp_path / "pattern.stl")
    data = {
        "name": "try",
        "pattern": {"file": str(tmp_path / "pattern.stl")},
        "parting": {"kind": "radial", "pieces": 3},
        "flange": {"gussets": True},
        "raster": {"pitch_mm": 1.0},
        "outputs": {"pictures": False, "step": False},
    }
    radial = shellgen.make_mold(Job(Settings.model_validate(data), tmp_path / "try.toml"))
    for piece in radial.design.pieces:
        part = next(p for p in radial.parts if p.name == piece.name)
        mesh = trimesh.Trimesh(part.vertices_mm, part.faces, process=False)
        assert len(webs_of(piece)) >= 6
        assert mesh.is_watertight
        assert mesh.euler_number == 2 - 2 * piece.genus()
    paths = seam_paths(radial.design)
    assert {p.line.pair for p in paths} == {("A", "B"), ("B", "C"), ("C", "A")}
    has_web = webbed(radial.design, paths)
    assert len(has_web) == sum(len(p.gaps_mm) for p in paths)
    # each web of a piece crosses a gap of its own two faces, and none of the third
    assert 0 < 2 * sum(has_web) <= sum(len(webs_of(p)) for p in radial.design.pieces)
    assert sum(has_web) >= 6


def test_the_note_counts_them(mold):
    note = next(n for n in mold.design.notes if "gusset" in n)
    gaps = sum(b.setup == "closing" for b in mold.design.bolts)  # a closed row has as many gaps as bolts
    for piece in mold.design.pieces:
        assert f"{piece.name} {len(webs_of(piece))} of {gaps}" in note
