"""Radial pieces: volumes of a ball in closed form, keys that slide out, pieces that draw in any order, refusals."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh

import shellgen
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.drape import spec_of
from shellgen.mold.radial import face_to_pull
from shellgen.parting.cells import radial_cells
from shellgen.shop.seams import seam_paths
from shellgen.solid.cell_cut import cut_to_cell

RADIUS_MM = 40.0


def job_of(folder, mesh, **tables):
    mesh.export(folder / "pattern.stl")
    data = {
        "name": "try",
        "pattern": {"file": str(folder / "pattern.stl")},
        "parting": {"kind": "radial"},
        "jacket": {"thickness_mm": 8, "keys": False, "clearance_mm": 0},
        "raster": {"pitch_mm": 1.0},
        "outputs": {"pictures": False, "step": False},
    }
    for table, values in tables.items():
        data[table] = {**data.get(table, {}), **values}
    return Job(Settings.model_validate(data), folder / "try.toml")


def solid_of(part):
    return m3.Manifold(m3.Mesh64(np.array(part.vertices_mm), np.array(part.faces, np.uint64)))


@pytest.fixture(scope="module", params=[3, 5])
def mold(request, tmp_path_factory):
    ball = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS_MM)
    folder = tmp_path_factory.mktemp("ball")
    return shellgen.make_mold(job_of(folder, ball, parting={"pieces": request.param}))


def test_jacket_is_a_spherical_shell(mold):
    """4/3 pi ((R + t)^3 - R^3) with the radius that the skins are set out to: no draft is steeper than a wedge's walls.

    Between the nodes of a 1 mm raster the skin may stand up to a third of a step farther out.
    """
    radius = RADIUS_MM + spec_of(mold.design.settings, "A").jacket_mm
    jacket = next(p for p in mold.parts if p.kind == "jacket").volume_mm3
    pattern = mold.design.pattern.skin.volume_mm3
    exact = 4 / 3 * np.pi * radius**3 - pattern
    assert 0.995 * exact < jacket < exact + 4 * np.pi * radius**2 / 3


def test_each_piece_is_whole_and_counts_its_holes(mold):
    shells = [p for p in mold.parts if p.kind == "shell"]
    assert [p.name for p in shells] == list("ABCDEF")[: mold.design.settings.parting.pieces]
    for part in shells:
        assert len(solid_of(part).decompose()) == 1
        assert solid_of(part).genus() == part.genus


def test_pieces_draw_in_any_order(mold):
    """Each piece leaves along its pull with the rubber and all the others still there."""
    shells = [p for p in mold.parts if p.kind == "shell"]
    rubber = solid_of(next(p for p in mold.parts if p.kind == "jacket"))
    for part in shells:
        others = [solid_of(p) for p in shells if p.name != part.name]
        for move in (0.0, 0.5, 3.0, 20.0, 100.0):
            drawn = solid_of(part).translate(tuple(move * np.asarray(part.pull)))
            assert sum((drawn ^ other).volume() for other in (*others, rubber)) < 1.0


def test_pulls_are_level_and_evenly_spread(mold):
    pulls = np.array([p.pull for p in mold.parts if p.kind == "shell"])
    assert np.abs(pulls[:, 2]).max() < 1e-9
    turn = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", pulls, np.roll(pulls, 1, axis=0)), -1, 1)))
    assert turn == pytest.approx(np.full(len(pulls), 360.0 / len(pulls)))


def test_every_mating_pair_has_bolts_square_to_its_face_and_keys(mold):
    design = mold.design
    names = [p.name for p in design.pieces]
    at = np.array(design.pieces[0].pull_to_mold[:2, 3])
    for first, second in zip(names, names[1:] + names[:1], strict=True):
        bolts = [b for b in design.bolts if b.pair == (first, second)]
        assert len(bolts) >= 4
        assert sum(k.pair == (first, second) for k in design.keys) == 4
        for bolt in bolts:
            ends = np.asarray(bolt.seats_mm)
            assert np.linalg.norm(ends[0] - ends[1]) == pytest.approx(2 * design.settings.flange.thickness_mm)
            middle = ends.mean(axis=0)[:2] - at  # in the face, a half plane through the axis: square to the bolt
            assert abs((ends[0] - ends[1])[:2] @ middle) < 1e-6


@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_the_two_frames_of_a_face_are_one_turned_over(count):
    """From piece k's face frame and from its neighbour's, the same points of the mold."""
    settings = Settings.model_validate(
        {"pattern": {"demo": "gate-finial"}, "parting": {"kind": "radial", "pieces": count, "angle_deg": 12.0}}
    )
    cells = radial_cells(settings.parting, np.array([[-10.0, -30.0, 0.0], [30.0, 20.0, 50.0]]))
    slope = 1 / np.tan(np.pi / count)
    over = np.diag([-1.0, 1.0, -1.0, 1.0])
    for k, cell in enumerate(cells):
        first = cell.pull_to_mold @ face_to_pull(slope, 1.0)
        second = cells[(k + 1) % count].pull_to_mold @ face_to_pull(slope, -1.0)
        assert first @ over == pytest.approx(second, abs=1e-12)
        assert np.linalg.det(first[:3, :3]) == pytest.approx(1.0)


@pytest.mark.parametrize("count", [3, 4, 6])
def test_cells_share_a_body_without_rest(count):
    """The cells' shares of a box about the axis sum up to the box."""
    settings = Settings.model_validate(
        {"pattern": {"demo": "gate-finial"}, "parting": {"kind": "radial", "pieces": count}}
    )
    cells = radial_cells(settings.parting, np.array([[-10.0, -10.0, 0.0], [10.0, 10.0, 10.0]]))
    block = m3.Manifold.cube((40.0, 30.0, 20.0), True)
    volume = 0.0
    for cell in cells:
        inverse = np.linalg.inv(cell.pull_to_mold)
        volume += cut_to_cell(block.transform(inverse[:3]), cell.parting, 0.04).volume()
    assert volume == pytest.approx(40.0 * 30.0 * 20.0, rel=1e-9)


def test_keys_lie_flatter_than_the_pull_leans(mold):
    """Cone half-angle at least 90 - 180/n and the draft: then a key slides out of its socket along the bisector."""
    design = mold.design
    lean = 90.0 - 180.0 / len(design.pieces)
    cones = [f.shape for p in design.pieces for f in p.features if f.role.name == "KEY"]
    assert cones
    for cone in cones:
        half = np.degrees(np.arctan2(cone.r0_mm - cone.r1_mm, cone.length_mm))
        assert half >= lean + design.settings.jacket.draft_deg - 1e-6


def test_an_axis_beside_the_pattern_is_refused(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
    with pytest.raises(DesignError, match=r"piece \w would hold nothing .* middle is at"):
        shellgen.make_mold(job_of(tmp_path, ball, parting={"axis_at_mm": [90.0, 0.0]}))


def test_the_joint_sees_the_gaps_of_each_mating_face(mold):
    """A line from bolt to bolt is no shorter than the straight way, and round a ball at most a half circle on it."""
    paths = seam_paths(mold.design)
    closing = [b for b in mold.design.bolts if b.setup == "closing"]
    assert {path.line.pair for path in paths} == {b.pair for b in closing}
    assert sum(path.line.bolts for path in paths) == len(closing)
    for path in paths:
        straight = np.linalg.norm(np.diff(path.bolts_mm, axis=0), axis=1)
        spans = np.array(path.line.spans_mm)
        assert len(spans) == len(straight)
        assert (spans > straight - 0.01).all() and (spans < np.pi / 2 * straight).all()
        assert path.line.ends_mm is not None and min(path.line.ends_mm) > 0
