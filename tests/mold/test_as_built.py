"""What `planes` says a jacket takes against the jackets that come out of the build."""

import numpy as np
import pytest
import trimesh

import shellgen
from shellgen.envelope.raster import Grid
from shellgen.job.defaults import fill_in
from shellgen.job.model import PlaneSettings, Settings
from shellgen.job.read import Job
from shellgen.mold.as_built import costed, prepared, rank_as_built
from shellgen.mold.drape import spec_of
from shellgen.mold.key_places import rough_jacket
from shellgen.mold.skins import SkinSpec, lone_points, plan_grid
from shellgen.parting.job_planes import cost_job
from shellgen.pattern.intake import take_in


def fork():
    """A stem with three thin arms that climb and fall, leaning in space."""
    arms = [
        ((0, 0, 0), (50, 4, 0)),
        ((50, 4, 0), (95, 28, 22)),
        ((50, 4, 0), (95, -28, -22)),
        ((50, 4, 0), (105, 0, 8)),
    ]
    parts = [trimesh.creation.cylinder(5, segment=arm, sections=24) for arm in arms]
    parts += [trimesh.creation.icosphere(3, 5).apply_translation(end) for end in {p for arm in arms for p in arm}]
    mesh = trimesh.boolean.union(parts, engine="manifold")
    return mesh.apply_transform(trimesh.transformations.rotation_matrix(np.radians(25), [1, 0.4, 0.2]))


def job_for(path, **parting):
    settings = {
        "name": "fork",
        "pattern": {"file": str(path)},
        "parting": parting,
        "jacket": {"thickness_mm": 5.0, "crevice_mm": 3.0},
        "raster": {"pitch_mm": 0.6},
        "outputs": {"pictures": False, "step": False},
    }
    return Job(Settings.model_validate(settings), path.parent / "job.toml")


def rubber_cm3(job, plane):
    """Of the jacket's finished mesh (its signed volume), and the manifest's figures."""
    wanted = PlaneSettings(normal=plane.normal, angle_deg=None, offset_mm=plane.offset_mm)
    parting = job.settings.parting.model_copy(update={"plane": wanted})
    mold = shellgen.make_mold(Job(job.settings.model_copy(update={"parting": parting}), job.base))
    part = next(p for p in mold.parts if p.kind == "jacket")
    return trimesh.Trimesh(part.vertices_mm, part.faces).volume / 1e3, mold.quantities


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    where = tmp_path_factory.mktemp("fork") / "fork.stl"
    fork().export(where)
    return where


@pytest.mark.parametrize("follow", ["plane", "silhouette"])
def test_best_and_middle_differ_as_said(path, follow):
    """The built jackets of two planes differ by what was predicted, within 3 %; the one ranked ahead is lighter."""
    job = job_for(path, follow=follow)
    pattern = take_in(job.settings, job.base)
    ranking = rank_as_built(fill_in(job.settings, pattern.bounds_mm), pattern)
    best = ranking.planes[0]
    other = ranking.middle if ranking.middle.normal != best.normal else ranking.planes[-1]
    (light, told), (heavy, told_too) = (rubber_cm3(job, plane) for plane in (best, other))
    said = [p.jacket_cm3 - (p.fill_cm3 - p.stepped_fill_cm3 if follow == "silhouette" else 0.0) for p in (best, other)]
    built = heavy - light
    assert built > 0
    assert said[1] - said[0] == pytest.approx(built, rel=0.03)
    assert said == pytest.approx([light, heavy], rel=0.003)
    key = "fill_cm3" if follow == "plane" else "stepped_fill_cm3"
    fills = told_too[key] - told[key]
    assert fills == pytest.approx(built - (told_too["keys_cm3"] - told["keys_cm3"]), abs=1e-6)
    assert fills == pytest.approx(getattr(other, key) - getattr(best, key), rel=0.03)


def test_stepping_saves_most_of_what_following_can_save(path):
    """On the middle plane, terraces included: at least four fifths of what a free surface would, fills undrafted."""
    job = job_for(path, plane="middle")
    pattern = take_in(job.settings, job.base)
    settings = fill_in(job.settings, pattern.bounds_mm)
    upright = settings.model_copy(update={"jacket": settings.jacket.model_copy(update={"draft_deg": 0.5})})
    rough = cost_job(upright, pattern)
    plane = costed(prepared(settings, pattern), rough)
    assert rough.fill_cm3 - rough.free_fill_cm3 > 5.0
    assert plane.fill_cm3 - plane.stepped_fill_cm3 >= 0.8 * (rough.fill_cm3 - rough.free_fill_cm3)


def test_a_coarse_raster_says_nearly_the_same(path):
    job = job_for(path, plane="middle")
    pattern = take_in(job.settings, job.base)
    settings = fill_in(job.settings, pattern.bounds_mm)
    blank, rough = prepared(settings, pattern), cost_job(settings, pattern)
    fine, coarse = costed(blank, rough), costed(blank, rough, most_nodes=15_000)
    assert coarse.jacket_cm3 == pytest.approx(fine.jacket_cm3, rel=0.03)


def test_keys_are_costed_where_they_are_built(path):
    """A flat job's keys are sought on the same places though its costing looks deeper, for a stepped parting."""
    job = job_for(path, plane={"normal": [0, 0, 1]})
    pattern = take_in(job.settings, job.base)
    settings = fill_in(job.settings, pattern.bounds_mm)
    found = costed(prepared(settings, pattern), cost_job(settings, pattern))
    keyed = shellgen.make_mold(job)
    jacket = settings.jacket.model_copy(update={"keys": False})
    plain = shellgen.make_mold(Job(job.settings.model_copy(update={"jacket": jacket}), job.base))
    volumes = [next(p for p in mold.parts if p.kind == "jacket").volume_mm3 / 1e3 for mold in (keyed, plain)]
    assert found.keys_cm3 > 0.3
    assert found.keys_cm3 == pytest.approx(volumes[0] - volumes[1], rel=0.03)


def test_rasters_of_all_depths_share_their_nodes():
    """However far a raster reaches, every other node of it falls on the same places."""
    points = lone_points(np.array([[3.3, -7.7, 4.0], [31.0, 12.0, 9.0]]))
    for on_board in (False, True):
        grids = [
            plan_grid(points, SkinSpec(5.0, 0.5, 4.0, 2.0, 3.0, 0.7, 0.06, low), on_board)
            for low in (0.0, -3.0, -11.0, -40.0)
        ]
        assert len({grid.columns for grid in grids}) > 1
        for grid in grids[1:]:
            for one, other in ((grid.x0_mm, grids[0].x0_mm), (grid.y0_mm, grids[0].y0_mm)):
                steps = (other - one) / 1.4
                assert steps == pytest.approx(round(steps), abs=1e-9)
        over = plan_grid(points.moved(np.diag([-1.0, 1.0, -1.0, 1.0])), SkinSpec(5, 0.5, 4, 2, 3, 0.7, 0.06), on_board)
        steps = (over.x0_mm + grids[0].x0_mm) / 0.7
        assert steps == pytest.approx(round(steps), abs=1e-9)


def test_rough_jacket_halves_the_raster():
    grid = Grid(-10.0, -10.0, 0.5, 41, 41)
    spec = SkinSpec(5.0, 0.5, 4.0, 2.0, 3.0, 0.5, 0.06)
    rough, reached = rough_jacket(np.full((41, 41), spec.floor_mm), grid, spec)
    assert reached.shape == (21, 21) and rough.grid.pitch_mm == 1.0


@pytest.mark.parametrize("offset_mm", [12.0, 20.0])
def test_ball_parted_off_centre_costs_its_closed_form(tmp_path, offset_mm):
    """A ball of radius R parted c off its middle, its wall the tangent cone R / cos a + z tan a down to the plane.

    The undercut's own share is pi c^3 / 3; to 0.8 % of the jacket, a tenth of a raster step all over.
    """
    trimesh.creation.icosphere(subdivisions=5, radius=30.0).export(tmp_path / "ball.stl")
    fills = []
    for c in (0.0, offset_mm):
        job = job_for(tmp_path / "ball.stl", plane={"normal": [0, 0, 1], "offset_mm": 30.0 + c})
        pattern = take_in(job.settings, job.base)
        middle = float(pattern.bounds_mm[:, 2].mean())
        job = job_for(tmp_path / "ball.stl", plane={"normal": [0, 0, 1], "offset_mm": middle + c})
        settings = fill_in(job.settings, pattern.bounds_mm)
        fills.append(costed(prepared(settings, pattern), cost_job(settings, pattern)).fill_cm3)
    radius = 30.0 + spec_of(settings, "A").jacket_mm
    tangent, c = np.tan(np.radians(settings.jacket.draft_deg)), offset_mm
    flare = radius**2 * tangent**2 * c + radius * c**2 * tangent * np.hypot(1.0, tangent) + c**3 * tangent**2 / 3
    jacket = 4 / 3 * np.pi * (radius**3 - 30.0**3)
    assert 1e3 * (fills[1] - fills[0]) == pytest.approx(np.pi * (c**3 / 3 + flare), abs=0.008 * jacket)
    assert abs(fills[0]) < 0.02 * settings.jacket.thickness_mm * 4 * np.pi * radius**2 / 1e3


def test_scan_with_holes_costs_as_the_whole_one(tmp_path):
    """A tenth of the faces flipped, small holes torn: the fill on a plane is that of the sound mesh to 2 %."""
    rng = np.random.default_rng(3)
    mesh = trimesh.creation.torus(40.0, 12.0, major_sections=120, minor_sections=48)
    torn = mesh.faces[rng.random(len(mesh.faces)) > 0.004].copy()
    flip = rng.random(len(torn)) < 0.1
    torn[flip] = torn[flip][:, ::-1]
    fills = []
    for name, faces in (("sound", mesh.faces), ("torn", torn)):
        trimesh.Trimesh(mesh.vertices, faces, process=False).export(tmp_path / f"{name}.ply")
        job = job_for(tmp_path / f"{name}.ply", plane={"normal": [1, 0, 0]})
        pattern = take_in(job.settings, job.base)
        settings = fill_in(job.settings, pattern.bounds_mm)
        fills.append(costed(prepared(settings, pattern), cost_job(settings, pattern)).fill_cm3)
    assert fills[0] > 50.0  # the hole of the ring, parted across
    assert fills[1] == pytest.approx(fills[0], rel=0.02)
