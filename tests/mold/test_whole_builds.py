"""Whole builds: closed forms on simple patterns, the demos' checks, bad settings, same bytes."""

import numpy as np
import pytest
import trimesh

import shellgen
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.job.read import Job


def job_of(folder, mesh, **tables):
    path = folder / "pattern.stl"
    mesh.export(path)
    data = {"name": "try", "pattern": {"file": str(path)}, "outputs": {"pictures": False, "step": False}}
    for table, values in tables.items():
        data[table] = {**data.get(table, {}), **values}
    return Job(Settings.model_validate(data), folder / "try.toml")


def part(mold, name):
    return next(p for p in mold.parts if p.name == name)


@pytest.fixture(scope="module")
def ball_mold(tmp_path_factory):
    ball = trimesh.creation.icosphere(subdivisions=6, radius=60.0)
    job = job_of(
        tmp_path_factory.mktemp("ball"),
        ball,
        jacket={"thickness_mm": 8, "keys": False, "clearance_mm": 0, "draft_deg": 1},
        raster={"pitch_mm": 0.5},
    )
    return shellgen.make_mold(job)


def test_ball_jacket_has_the_volume_of_a_spherical_shell(ball_mold):
    """Rubber about R = 60: 4/3 pi ((R + t)^3 - R^3), Steiner; the margins add what they say and no more."""
    exact = 4 / 3 * np.pi * (68.0**3 - 60.0**3)
    margin = 4 * np.pi * 68.0**2 * 0.25  # margins of radius and raster, under a quarter of a millimetre on the mean
    assert exact < part(ball_mold, "jacket").volume_mm3 < exact + margin


def test_jacket_and_pattern_fill_the_envelope(ball_mold):
    """With no clearance the shell's inside is the jacket's outside: no gap and no overlap of more than a cubic mm."""
    import manifold3d as m3

    def solid(p):
        return m3.Manifold(m3.Mesh64(np.array(p.vertices_mm), np.array(p.faces, np.uint64)))

    jacket, first = solid(part(ball_mold, "jacket")), solid(part(ball_mold, "A"))
    assert (jacket ^ first).volume() < 1.0
    assert jacket.min_gap(first, 5.0) < 1e-6


def test_pieces_count_their_holes_in_topology(ball_mold):
    for p in ball_mold.parts:
        if p.genus is None:
            continue
        mesh = trimesh.Trimesh(p.vertices_mm, p.faces, process=False)
        assert mesh.is_watertight
        assert mesh.euler_number == 2 - 2 * p.genus  # V - E + F = 2 - 2 g
    assert part(ball_mold, "B").genus == sum(b.setup == "closing" for b in ball_mold.design.bolts)


def test_bolts_keep_their_pitch_and_their_distance(ball_mold):
    bolts = [b for b in ball_mold.design.bolts if b.setup == "closing"]
    middles = np.array([np.mean(b.seats_mm, axis=0) for b in bolts])
    away = np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(away, np.inf)
    pitch = ball_mold.design.settings.bolts.pitch_mm
    assert away.min(axis=1).max() <= pitch + 1e-6
    assert away.min() > 10.0
    # equal pitch round a circle: all nearest neighbours equally far
    assert np.ptp(away.min(axis=1)) < 0.2
    # a circle of wall 68 + 6 and half a washer: every bolt as far from the middle
    radius = np.linalg.norm(middles - middles.mean(axis=0), axis=1)
    assert np.ptp(radius) < 0.2


def test_every_check_passes_on_the_ball(ball_mold):
    failed = [f.says for f in shellgen.check_mold(ball_mold) if f.status == "fail"]
    assert failed == []


@pytest.mark.parametrize("mirror", [False, True])
def test_volumes_follow_a_turned_and_mirrored_pattern(tmp_path, mirror):
    """A turned or mirrored pattern has the same rubber and shell to a tenth of a percent."""
    body = trimesh.creation.cone(30.0, 70.0, sections=90).subdivide().subdivide()
    body.apply_translation([5.0, 3.0, 0.0])
    small = {"raster": {"pitch_mm": 0.8}, "jacket": {"thickness_mm": 5, "keys": False}}
    plain = shellgen.make_mold(job_of(tmp_path, body, parting={"plane": {"normal": [1, 0, 0]}}, **small))
    turned = {"rotate_deg": [0, 0, 40], "mirror": mirror}
    a = np.radians(40 if not mirror else 140)
    normal = [float(np.cos(a)), float(np.sin(a)), 0.0]
    other = shellgen.make_mold(job_of(tmp_path, body, pattern=turned, parting={"plane": {"normal": normal}}, **small))
    for name in ("jacket", "A"):
        assert part(other, name).volume_mm3 == pytest.approx(part(plain, name).volume_mm3, rel=2e-3)


def test_plane_that_misses_is_told_the_nearest(tmp_path):
    box = trimesh.creation.box((60.0, 40.0, 30.0))
    job = job_of(tmp_path, box, parting={"plane": {"normal": [0, 0, 1], "offset_mm": 99.0}})
    with pytest.raises(DesignError, match=r"offset_mm = 99: the plane misses the pattern.*nearest"):
        shellgen.make_mold(job)


def test_same_job_same_bytes_and_old_result_survives(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=25.0)
    job = job_of(tmp_path, ball, raster={"pitch_mm": 0.6}, jacket={"thickness_mm": 4})
    first = shellgen.build(job, tmp_path / "one")
    second = shellgen.build(job, tmp_path / "two")
    assert not first.failed
    names = sorted(p.name for p in first.folder.iterdir())
    assert names == sorted(p.name for p in second.folder.iterdir())
    for name in names:
        if name != "timings.json":
            assert (first.folder / name).read_bytes() == (second.folder / name).read_bytes(), name
    before = (first.folder / "manifest.json").read_bytes()
    (tmp_path / "pattern.stl").write_bytes(b"no mesh")
    with pytest.raises(shellgen.ShellgenError):
        shellgen.build(job, tmp_path / "one")
    assert (first.folder / "manifest.json").read_bytes() == before


@pytest.mark.slow
@pytest.mark.parametrize("demo", ["gate-finial", "horn-bell"])
def test_demo_passes_every_check(demo, tmp_path):
    data = {"name": demo, "pattern": {"demo": demo}}
    data["mount"] = {"kind": "stem" if demo == "gate-finial" else "board"}
    job = Job(Settings.model_validate(data), tmp_path / "demo.toml")
    mold = shellgen.make_mold(job)
    assert [f.says for f in shellgen.check_mold(mold) if f.status == "fail"] == []
    assert {p.name for p in mold.parts} == {"A", "B", "jacket", "lid"}


@pytest.mark.parametrize("gap_mm", [80.0, 110.0])
def test_an_arch_on_a_board_gets_bolts_and_its_windows_are_counted(tmp_path, gap_mm):
    """Between legs stands a flange, wide apart with a window over the base flange; Euler's number tells its holes."""
    beam = trimesh.creation.box(extents=(gap_mm + 60, 24, 24)).apply_translation([0, 0, 68])
    legs = [
        trimesh.creation.box(extents=(24, 24, 80)).apply_translation([s * (gap_mm / 2 + 12), 0, 40]) for s in (-1, 1)
    ]
    arch = trimesh.boolean.union([beam, *legs], engine="manifold")
    job = job_of(
        tmp_path, arch, mount={"kind": "board"}, parting={"plane": {"normal": [0, 1, 0]}}, raster={"pitch_mm": 1.0}
    )
    mold = shellgen.make_mold(job)
    assert sum(b.setup == "closing" for b in mold.design.bolts) >= 8
    for name in "AB":
        half = part(mold, name)
        euler = trimesh.Trimesh(half.vertices_mm, half.faces, process=False).euler_number
        assert half.genus == (2 - euler) // 2
