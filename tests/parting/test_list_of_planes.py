"""A list of planes: cells that share space without rest, pulls in closed form, order of assembly, refusals in words."""

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from scipy.optimize import minimize
from shapely.geometry import MultiPolygon

from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.parting.pulls import bisector, nearest_pull
from shellgen.parting.shares import arrangement
from shellgen.parting.split import Bound, halved
from shellgen.pattern.pattern import Pattern, Skin
from shellgen.solid.cell_cut import cut_to_cell, lowest_mm
from shellgen.solid.recipe import inverse, transform

SIZE_MM = (80.0, 60.0, 100.0)


def pattern_of(mesh, mount="none"):
    vertices, faces = np.array(mesh.vertices), np.array(mesh.faces, np.int32)
    skin = Skin(vertices, faces, float(mesh.volume), "as it is", 0.0)
    return Pattern(vertices, faces, skin, mount, MultiPolygon(), np.eye(4), "block", "0", ())


def block(mount="none"):
    """A block that stands on z = 0, about the origin in plan."""
    mesh = trimesh.creation.box(SIZE_MM)
    mesh.apply_translation((0.0, 0.0, SIZE_MM[2] / 2))
    return pattern_of(mesh, mount)


def arranged(planes, mount="none", **pulls):
    settings = Settings.model_validate(
        {
            "pattern": {"demo": "gate-finial"},
            "mount": {"kind": mount},
            "parting": {"kind": "planes", "planes": planes},
            "pieces": {name: {"pull": way} for name, way in pulls.items()},
        }
    )
    return arrangement(settings, block(mount))


CAP = {"normal": [0, 0, 1], "offset_mm": 70.0}
ARRANGEMENTS = {
    "split half": [{"normal": [1, 0, 0]}, {"normal": [0, 1, 0]}],
    "split half off the middle": [{"angle_deg": 20, "offset_mm": 7}, {"angle_deg": 80, "offset_mm": -9}],
    "cap": [CAP, {"angle_deg": 90}],
    "cap from below": [{"normal": [0, 0, -1], "offset_mm": -70.0}, {"angle_deg": 0, "splits": "A"}],
    "cap over wedges": [CAP, {"angle_deg": 90}, {"angle_deg": 30, "offset_mm": 4.0}],
    "top of one half": [{"angle_deg": 0}, {"normal": [0, 0, 1], "splits": "B"}],
    "both halves split": [{"angle_deg": 0}, {"angle_deg": 90, "splits": "A"}, {"angle_deg": 70, "splits": "B"}],
    "oblique": [{"normal": [1, 0.3, 0.2]}, {"normal": [-0.2, 1, 0.4]}],
    "a corner": [{"normal": [1, 0, 0]}, {"normal": [0, 1, 0]}, {"normal": [0, 0, 1]}],
}


@pytest.fixture(params=sorted(ARRANGEMENTS))
def planes(request):
    return ARRANGEMENTS[request.param]


def test_every_point_is_in_exactly_one_cell(planes):
    points = np.random.default_rng(5).uniform((-60, -60, -10), (60, 60, 120), (4000, 3))
    found = np.zeros(len(points), int)
    for share in arranged(planes).shares:
        local = transform(points, inverse(share.pull_to_mold))
        found += local[:, 2] > share.parting.at(local[:, 0], local[:, 1])
    assert (found == 1).all()


def test_shares_sum_to_the_whole(planes):
    """The solid kernel's cuts of a block, each in its piece's frame, have the block's volume and nothing in common."""
    whole = m3.Manifold.cube(SIZE_MM, True).translate((0.0, 0.0, 50.0))
    shares = []
    for share in arranged(planes).shares:
        cut = cut_to_cell(whole.transform(inverse(share.pull_to_mold)[:3]), share.parting, 0.05)
        shares.append(cut.transform(share.pull_to_mold[:3]))
    assert sum(s.volume() for s in shares) == pytest.approx(np.prod(SIZE_MM), rel=1e-9)
    assert all((a ^ b).volume() < 1e-3 for i, a in enumerate(shares) for b in shares[:i])


def test_no_cell_holds_back_its_piece(planes):
    """A point of a cell, moved on along the pull, stays in it: whatever else is still there, the piece leaves."""
    points = np.random.default_rng(6).uniform((-60, -60, -10), (60, 60, 120), (2000, 3))
    for share in arranged(planes).shares:
        local = transform(points, inverse(share.pull_to_mold))
        inside = local[local[:, 2] > share.parting.at(local[:, 0], local[:, 1])]
        moved = transform(inside, share.pull_to_mold) + 55.0 * share.pull_to_mold[:3, 2]
        again = transform(moved, inverse(share.pull_to_mold))
        assert (again[:, 2] > share.parting.at(again[:, 0], again[:, 1])).all()


def test_lowest_place_of_a_parting_is_not_undercut(planes):
    x, y = np.meshgrid(np.linspace(-60, 60, 61), np.linspace(-60, 60, 61))
    for share in arranged(planes).shares:
        heights = share.parting.at(x, y)
        assert lowest_mm(share.parting) <= float(heights.min()) + 1e-6


def test_halved_triangles_keep_their_area():
    triangles = np.random.default_rng(7).normal(size=(500, 3, 3))
    above, below = halved(triangles, np.array([0.6, 0.0, 0.8]), 0.2)

    def area(t):
        return float(np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1).sum() / 2)

    assert area(above) + area(below) == pytest.approx(area(triangles), rel=1e-12)
    assert (above @ np.array([0.6, 0.0, 0.8]) >= 0.2 - 1e-9).all()
    assert (below @ np.array([0.6, 0.0, 0.8]) <= 0.2 + 1e-9).all()


def pulls_of(found):
    return {s.name: s.pull_to_mold[:3, 2] for s in found.shares}


def test_a_split_half_leaves_by_normals_and_bisectors():
    """180 / 60 / 120 degrees: normal, and the middle of each wedge, in closed form."""
    found = arranged([{"angle_deg": 90}, {"angle_deg": 30}])
    ways = pulls_of(found)
    turn = {name: np.degrees(np.arctan2(w[1], w[0])) % 360 for name, w in ways.items()}
    assert turn == pytest.approx({"A": 90.0, "B": 330.0, "C": 240.0})
    assert {m.pair for m in found.meetings} == {("A", "B"), ("A", "C"), ("C", "B")}


def test_a_cap_goes_up_and_on_last_and_the_rest_level():
    found = arranged([CAP, {"angle_deg": 90}])
    assert {n: w.round(9).tolist() for n, w in pulls_of(found).items()} == {
        "A": [0.0, 0.0, 1.0],
        "B": [0.0, 1.0, 0.0],
        "C": [0.0, -1.0, 0.0],
    }
    assert found.order == ("B", "C", "A")


def test_the_upper_part_of_a_half_leaves_up_and_out():
    found = arranged([{"angle_deg": 0}, {"normal": [0, 0, 1], "splits": "B"}], "board")
    assert pulls_of(found)["B"] == pytest.approx(np.array([-1.0, 0.0, 1.0]) / np.sqrt(2))
    assert found.order.index("C") < found.order.index("B")
    assert {s.name: s.on_board for s in found.shares} == {"A": True, "B": False, "C": True}


def test_bisector_is_the_direction_farthest_from_all_planes():
    """Against a general minimiser, for three normals."""
    normals = [np.array(n) / np.linalg.norm(n) for n in ([1, 0.2, 0], [0, 1, 0.3], [0.1, -0.2, 1])]
    best = minimize(
        lambda v: -min(n @ v / np.linalg.norm(v) for n in normals), np.ones(3), method="Nelder-Mead", tol=1e-10
    )
    assert min(n @ bisector(normals) for n in normals) == pytest.approx(-best.fun, abs=1e-6)


def test_nearest_pull_is_on_the_limit():
    """A wish along a plane is turned by the 15 degrees it lacks (and half a degree for safety)."""
    bound = Bound(1, np.array([1.0, 0.0, 0.0]), 0.0)
    near = nearest_pull(np.array([-0.05, 1.0, 0.0]), [bound], held=True)
    assert np.degrees(np.arcsin(near[0])) == pytest.approx(15.5, abs=0.2)
    assert near[2] == 0


def test_a_pull_that_is_given_is_taken():
    way = np.array([0.3, 1.0, 0.0]) / np.hypot(0.3, 1.0)
    found = arranged([CAP, {"angle_deg": 90}], "stem", B=[0.3, 1.0, 0.0])
    assert pulls_of(found)["B"] == pytest.approx(way)


REFUSED = [
    ([{"angle_deg": 0, "offset_mm": 50}], {}, r"planes\[1\].offset_mm = 50: the plane misses the pattern.*is 36.0"),
    (
        [{"angle_deg": 0}, {"angle_deg": 0, "offset_mm": 8, "splits": "B"}],
        {},
        r"planes\[2\].offset_mm = 8: the plane misses what of the pattern lies in piece B.*-40.0 and 0.0.*is -2.0",
    ),
    ([{"angle_deg": 0}, {"angle_deg": 90, "splits": "C"}], {}, r'splits = "C": there is no such piece.*A, B by then'),
    ([{"angle_deg": 0, "splits": "B"}], {}, r'planes\[1\].splits = "B".*the whole, A'),
    ([{"angle_deg": a} for a in range(6)], {}, "6 planes make 7 pieces. Give 1 to 5"),
    ([], {}, "0 planes make 1 pieces"),
    (
        [{"angle_deg": 0}, {"angle_deg": 8}],
        {},
        r"nearly parallel: piece . between .* wedge of 8 degrees.*angle_deg = 30",
    ),
    (
        [{"angle_deg": 0}, {"angle_deg": 0, "offset_mm": -20}],
        {},
        r"nearly parallel: piece B between them is a wedge of 0 degrees",
    ),
    (
        [{"angle_deg": 0}, {"angle_deg": 90}],
        {"B": [1, 0, 0]},
        r"pieces.B.pull = \[1.000, 0.000, 0.000\]: it runs 90 degrees into parting.planes\[1\].*nearest.*is \[-0.2",
    ),
    ([CAP], {}, r'piece B stands on the board under parting.planes\[1\].*splits = "B"'),
    (
        [CAP, {"angle_deg": 90}],
        {"B": [0, 1, -1]},
        r"pieces.B.pull.*must leave level, z = 0. The nearest.*\[0.000, 1.000, 0.000\]",
    ),
    (
        [{"angle_deg": 0}, {"normal": [0, 0, 1], "splits": "B"}],
        {"B": [-1, 0, 0]},
        r"Pieces B and C both slide along parting.planes\[2\].*pieces.B.pull = \[-0.707, 0.000, 0.707\]",
    ),
]


@pytest.mark.parametrize(("planes", "pulls", "said"), REFUSED, ids=[r[2][:24] for r in REFUSED])
def test_what_cannot_be_built_is_said_with_what_can(planes, pulls, said):
    with pytest.raises(DesignError, match=said):
        arranged(planes, "board", **pulls)


def test_what_is_offered_instead_works():
    assert len(arranged([{"angle_deg": 0}, {"angle_deg": 30}], "board").shares) == 3
    near = nearest_pull(
        np.array([1.0, 0, 0]), arranged([{"angle_deg": 0}, {"angle_deg": 90}]).shares[1].lump.bounds, True
    )
    assert near is not None
    arranged([{"angle_deg": 0}, {"angle_deg": 90}], "board", B=near.round(3).tolist())
