"""Molds from a list of planes: a ball in closed form, pieces that leave in order, bolts and keys on every pair."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh

import shellgen
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.drape import spec_of
from shellgen.shop.seams import seam_paths
from shellgen.solid.recipe import Role

RADIUS_MM = 40.0
LISTS = {
    "split": [{"angle_deg": 90}, {"angle_deg": 30}],
    "cap": [{"normal": [0, 0, 1], "offset_mm": 55.0}, {"angle_deg": 90}],
    "top of a half": [{"angle_deg": 0}, {"normal": [0, 0, 1], "splits": "B"}],
    "cap over wedges": [{"normal": [0, 0, 1], "offset_mm": 45.0}, {"angle_deg": 90}, {"angle_deg": 0}],
}
CHECKED = ("closed", "holes", "overlap", "draws", "rubber", "wall", "bolt-axes", "bolt-seats", "bolt-edges", "one-way")


def job_of(folder, mesh, planes, **tables):
    mesh.export(folder / "pattern.stl")
    data = {
        "name": "try",
        "pattern": {"file": str(folder / "pattern.stl")},
        "parting": {"kind": "planes", "planes": planes},
        "jacket": {"thickness_mm": 8, "keys": False, "clearance_mm": 0},
        "raster": {"pitch_mm": 1.0},
        "outputs": {"pictures": False, "step": False},
    }
    for table, values in tables.items():
        data[table] = {**data.get(table, {}), **values}
    return Job(Settings.model_validate(data), folder / "try.toml")


def solid_of(part):
    return m3.Manifold(m3.Mesh64(np.array(part.vertices_mm), np.array(part.faces, np.uint64)))


@pytest.fixture(scope="module", params=sorted(LISTS))
def mold(request, tmp_path_factory):
    ball = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS_MM)
    return shellgen.make_mold(job_of(tmp_path_factory.mktemp("ball"), ball, LISTS[request.param]))


@pytest.fixture(scope="module")
def shells(mold):
    return {p.name: p for p in mold.parts if p.kind == "shell"}


def test_jacket_is_a_spherical_shell(mold):
    """4/3 pi ((R + t)^3 - R^3), t as the skins are set out; what is more are ledges where a cap crosses the ball.

    A ball cut off its equator by a level plane narrows towards the cap's seam: pieces that leave level cannot close
    over it by more than the plane cuts off.
    """
    radius = RADIUS_MM + spec_of(mold.design.settings, "A").jacket_mm
    jacket = next(p for p in mold.parts if p.kind == "jacket").volume_mm3
    exact = 4 / 3 * np.pi * radius**3 - mold.design.pattern.skin.volume_mm3
    assert 0.995 * exact < jacket < exact + 4 * np.pi * radius**2 / 3


def test_the_pieces_hold_by_their_checks(mold):
    found = {f.id: f for f in shellgen.check_mold(mold)}
    assert {name: found[name].says for name in CHECKED if found[name].status == "fail"} == {}


def test_each_piece_leaves_with_those_assembled_before_it_still_there(mold, shells):
    """By common volumes at several travels, not by the product's own sweep."""
    rubber = solid_of(next(p for p in mold.parts if p.kind == "jacket"))
    order = [n for n in mold.design.assembly if n in shells]
    assert sorted(order) == sorted(shells)
    for k, name in enumerate(order):
        others = [solid_of(shells[n]) for n in order[:k]]
        for move in (0.5, 3.0, 20.0, 100.0):
            drawn = solid_of(shells[name]).translate(tuple(move * np.asarray(shells[name].pull)))
            assert sum((drawn ^ other).volume() for other in (*others, rubber)) < 1.0


def test_every_mating_pair_has_bolts_square_to_its_plane_and_keys(mold, shells):
    """Pairs that touch, found on the solids: each grown by 0.05 mm along the bolts has something in common."""
    design = mold.design
    pairs = {frozenset(b.pair) for b in design.bolts if b.setup == "closing"}
    names = sorted(shells)
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            gap = solid_of(shells[a]).min_gap(solid_of(shells[b]), 1.0)
            assert (gap < 0.01) == (frozenset((a, b)) in pairs), (a, b, gap)
    normals = [
        np.array(p.get("normal") or [np.cos(a := np.radians(p["angle_deg"])), np.sin(a), 0.0])
        for p in (q.model_dump(exclude_none=True) for q in design.settings.parting.planes)
    ]
    for pair in pairs:
        bolts = [b for b in design.bolts if frozenset(b.pair) == pair]
        assert len(bolts) >= 2
        assert sum(frozenset(k.pair) == pair for k in design.keys) >= 1
        for bolt in bolts:
            way = np.subtract(*np.asarray(bolt.seats_mm))
            assert np.linalg.norm(way) == pytest.approx(2 * design.settings.flange.thickness_mm)
            assert max(abs(n @ way) for n in normals) == pytest.approx(np.linalg.norm(way))


def test_seams_are_the_whole_lines_of_their_faces(mold):
    """Spans from bolt to bolt and the free ends sum up to the lines; each closing bolt stands on one of them."""
    paths = seam_paths(mold.design)
    lines = [line for face in mold.design.seams for line in face.lines]
    lengths = [float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines]
    assert sum(p.line.bolts for p in paths) == sum(b.setup == "closing" for b in mold.design.bolts)
    assert sum(p.line.length_mm for p in paths) == pytest.approx(sum(lengths), rel=1e-6)


def test_shell_pieces_are_whole(shells):
    for part in shells.values():
        assert len(solid_of(part).decompose()) == 1
        assert solid_of(part).genus() == part.genus


def test_a_single_plane_makes_the_two_halves_of_that_plane(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=25.0)
    one = shellgen.make_mold(job_of(tmp_path, ball, [{"angle_deg": 30, "offset_mm": 3.0}]))
    plane = {"kind": "plane", "planes": [], "plane": {"angle_deg": 30, "offset_mm": 3.0}}
    other = shellgen.make_mold(job_of(tmp_path, ball, [], parting=plane))
    assert [p.volume_mm3 for p in one.parts] == [p.volume_mm3 for p in other.parts]


def test_a_roof_is_as_thick_as_the_wall_or_not_there(tmp_path):
    """A wide drum under a thin rod, the cap's plane just over the drum: no leaf of shell between two layers of rubber.

    The lower pieces' room ends 1 mm under the plane; the cap is hollow over the rod, which is wider there by its foot.
    """
    drum = trimesh.creation.cylinder(30.0, 60.0, sections=64)
    arm = trimesh.creation.box((50.0, 12.0, 10.0), trimesh.transformations.translation_matrix((0.0, 0.0, 70.0)))
    neck = trimesh.creation.cylinder(
        6.0, 50.0, sections=48, transform=trimesh.transformations.translation_matrix((0, 0, 50.0))
    )
    whole = trimesh.boolean.union([drum, arm, neck], engine="manifold")
    whole.apply_translation((0.0, 0.0, 30.0))
    mold = shellgen.make_mold(job_of(tmp_path, whole, [{"normal": [0, 0, 1], "offset_mm": 70.5}, {"angle_deg": 90}]))
    lower = [p for p in mold.parts if p.name in "BC"]
    for part in lower:
        solid = solid_of(part)
        for x in np.linspace(-20, 20, 21):
            for y in (6.0, -6.0, 9.0, -9.0):
                rod = m3.Manifold.cylinder(30.0, 0.05, 0.05, 8).translate((float(x), y, 41.0))
                left = (solid ^ rod).volume() / (np.pi * 0.05**2)
                assert left < 0.1 or left > 5.0, (part.name, x, y, left)


def test_a_mounted_cap_carries_posts_and_wedges_carry_bars(tmp_path):
    cone = trimesh.creation.cylinder(30.0, 90.0, sections=64)
    cone.apply_translation((0.0, 0.0, 45.0))
    capped = shellgen.make_mold(job_of(tmp_path, cone, LISTS["cap"], mount={"kind": "board"}))
    feet = [f for p in capped.design.pieces for f in p.features if f.role is Role.FOOT]
    cap = next(p for p in capped.parts if p.name == "A")
    assert 3 <= len(feet) <= 4
    assert cap.vertices_mm[:, 2].max() == pytest.approx(55.0 + max(f.shape.length_mm for f in feet) - 1.0, abs=0.01)
    split = shellgen.make_mold(job_of(tmp_path, cone, LISTS["split"], mount={"kind": "board"}))
    tops = [p.vertices_mm[:, 2].max() for p in split.parts if p.kind == "shell"]
    assert np.ptp(tops) < 0.05  # turned over it stands on all pieces


def test_a_face_too_small_for_bolts_is_refused(tmp_path):
    """Two planes that end 4 mm apart on the first leave a strip between them that two pieces share."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=RADIUS_MM)
    planes = [{"angle_deg": 0}, {"angle_deg": 90, "splits": "A"}, {"angle_deg": 90, "splits": "B", "offset_mm": 4.0}]
    with pytest.raises(DesignError, match=r"no bolt fits on the mating face of pieces A and D"):
        shellgen.make_mold(job_of(tmp_path, ball, planes))


def test_rooms_meet_on_the_plane_that_parts_them(tmp_path, monkeypatch):
    """A bead that stands over the first plane: the half leaves room for its shadow, wedges that leave askew for less.

    What of the wedges' shell lies bare over the half's room is cut down to less than two thirds, for the wedges are
    given room there; rounds are switched off to measure how it was.
    """
    rod = trimesh.creation.cylinder(10.0, segment=[(0, -60, 0), (0, 60, 0)], sections=48)
    beads = [trimesh.creation.icosphere(4, 18.0).apply_translation((x, -3.5 * x, 0)) for x in (13.0, -13.0)]
    whole = trimesh.boolean.union([rod, *beads], engine="manifold")
    job = job_of(tmp_path, whole, [{"normal": [1, 0, 0]}, {"normal": [0, 1, 0]}])

    def bare_mm2(mold):
        def cut(names, at_mm):
            parts = [solid_of(p).rotate((0, -90, 0)).slice(at_mm) for p in mold.parts if p.name in names]
            return m3.CrossSection.batch_boolean(parts, m3.OpType.Add)

        return (cut("BC", -0.05) - cut("A", 0.05)).offset(-0.4, m3.JoinType.Miter).area()

    met = shellgen.make_mold(job)
    monkeypatch.setattr("shellgen.mold.met_rooms.ROUNDS", 0)
    apart = shellgen.make_mold(job)
    assert bare_mm2(apart) > 300.0
    assert bare_mm2(met) < 0.67 * bare_mm2(apart)
    assert {f.id: f.status for f in shellgen.check_mold(met) if f.id in CHECKED} == dict.fromkeys(CHECKED, "pass")
