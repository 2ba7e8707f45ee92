"""Gussets: the size that the joint's stiffness counts on, room for spanners, volumes in closed form, whole pieces."""

from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from shapely.geometry import Point

import shellgen
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.gussets import standing_mm3, web_plan
from shellgen.shop.joint.job import JointOptions, job_bolt, job_flange
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
            over = ring[ring[:, 0] <= 0.0]  # its straight back, wall side
            assert over[:, 1].max() == pytest.approx(flange.thickness_mm + flange.web_mm)
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


def test_radial_pieces_reckon_with_none():
    """Radial pieces are built without webs, so their joint must not count on any."""
    radial = {"parting": {"kind": "radial"}, "flange": {"gussets": True, "width_mm": 16, "thickness_mm": 8}}
    halves = {**radial, "parting": {"kind": "plane"}}
    webs = []
    for tables in (radial, halves):
        settings = Settings.model_validate({"name": "try", "pattern": {"demo": "horn-bell"}, **tables})
        webs.append(job_flange(settings, "A", JointOptions()).web_mm)
    assert webs == [0.0, 16.0]


def test_the_note_counts_them(mold):
    note = next(n for n in mold.design.notes if "gusset" in n)
    gaps = sum(b.setup == "closing" for b in mold.design.bolts)  # a closed row has as many gaps as bolts
    for piece in mold.design.pieces:
        assert f"{piece.name} {len(webs_of(piece))} of {gaps}" in note
