"""What a starter job assumes: size, mount and plane from the shape alone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shellgen.job.assume import Assumed, Base, assume, flat_base_unevenness, following, up_axis
from shellgen.job.rules import broken_rules


def assumed(size, *, suffix: str = ".stl", share: float = 0.0, uneven: float = 0.0) -> Assumed:
    return assume(name="x", file="x.stl", suffix=suffix, size=size, base=Base(share, uneven))


def said(found: Assumed, topic: str) -> str:
    return next(why.says for why in found.why if why.topic == topic)


@pytest.mark.parametrize("longest", [10.0, 46.0, 380.0, 5000.0])
def test_plausible_numbers_are_taken_as_mm(longest):
    found = assumed((longest, longest / 2, longest / 3))
    assert found.chosen["pattern.units"] == "mm"
    assert "pattern.longest_side_mm" not in found.chosen
    assert found.size_mm[0] == longest


@pytest.mark.parametrize(("longest", "how"), [(0.15, "small"), (9.99, "small"), (5001.0, "large"), (2.5e4, "large")])
def test_absurd_numbers_become_two_hundred_mm_and_that_is_said_loudly(longest, how):
    found = assumed((longest / 2, longest, longest / 3))
    assert found.chosen["pattern.longest_side_mm"] == 200
    assert max(found.size_mm) == pytest.approx(200)
    assert said(found, "size").startswith("CHECK THIS: the longest side is")
    assert f"too {how} for mm" in said(found, "size")


def test_other_units_are_offered_where_they_make_sense():
    assert 'in its place units = "m" (150 mm)' in said(assumed((0.15, 0.1, 0.1)), "size")
    assert 'in its place units = "in" (203 mm)' in said(assumed((8.0, 1, 1)), "size")
    assert "in its place" not in said(assumed((1e-4, 0, 0)), "size")


def test_format_that_fixes_its_unit_is_believed():
    found = assumed((0.3, 0.2, 0.1), suffix=".GLB")
    assert found.chosen["pattern.units"] == "m"
    assert found.chosen["pattern.up"] == up_axis(".glb") == "+y"
    assert max(found.size_mm) == pytest.approx(300)
    assert assumed((30, 20, 10), suffix=".glb").chosen["pattern.units"] == "mm"


def test_flat_base_goes_on_a_board_with_an_upright_plane_across_the_thin_way():
    found = assumed((100, 60, 300), share=0.35)
    assert found.chosen["mount.kind"] == "board"
    assert found.chosen["parting.plane"] == {"angle_deg": 90}
    assert assumed((50, 60, 10), share=0.9).chosen["parting.plane"] == {"angle_deg": 0}
    assert "mount.cut_mm" not in found.chosen


def test_uneven_base_is_cut_flat():
    found = assumed((1.0, 0.6, 3.0), share=0.5, uneven=0.012)  # 3.0 becomes 200 mm: 0.012 is 0.8 mm
    assert found.chosen["mount.cut_mm"] == pytest.approx(0.8)
    assert "cut flat at 0.8 mm" in said(found, "mount")


def test_other_bodies_are_closed_and_open_along_their_thinnest_way():
    assert assumed((100, 60, 20), share=0.34).chosen["parting.plane"] == {"normal": [0, 0, 1]}
    assert assumed((100, 60, 70)).chosen["parting.plane"] == {"normal": [0, 1, 0]}
    assert assumed((10, 60, 70)).chosen["parting.plane"] == {"normal": [1, 0, 0]}
    assert assumed((100, 60, 20), share=0.34).chosen["mount.kind"] == "none"


side = st.floats(1e-3, 1e5)


@given(st.tuples(side, side, side), st.floats(0, 1), st.sampled_from([".stl", ".glb", ".step"]))
def test_what_is_assumed_is_always_a_valid_job(size, share, suffix):
    found = assumed(size, share=share, suffix=suffix)
    assert broken_rules(found.settings) == []
    assert max(found.size_mm) * (1 + 1e-9) >= 10
    assert max(found.size_mm) <= 5000 * (1 + 1e-9)


def box(rise: float) -> tuple[np.ndarray, np.ndarray]:
    """A block 10 x 10 x 100 with one corner of its bottom raised."""
    corners = np.array([[x, y, z] for z in (0, 100) for x, y in ((0, 0), (10, 0), (10, 10), (0, 10))], float)
    corners[2, 2] = rise
    faces = np.array([[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4]], np.int32)
    return corners, faces


def test_unevenness_is_the_height_of_the_raised_corner():
    assert flat_base_unevenness(*box(0.0)) == 0.0
    assert flat_base_unevenness(*box(0.25)) == pytest.approx(0.25)
    assert flat_base_unevenness(*box(5.0)) == 0.0  # over half a per cent of the height: no longer a base


def test_following_the_silhouette_stands_beside_the_plane_and_says_what_it_saves():
    found = following(assumed((100, 60, 20)), 12.345, 0.187)
    assert found.settings.parting.follow == "silhouette"
    assert found.settings.parting.plane == assumed((100, 60, 20)).settings.parting.plane
    assert [why.topic for why in found.why][3:5] == ["plane", "follow"]
    assert "12.3 cm3" in said(found, "follow") and "19 %" in said(found, "follow")
    assert broken_rules(found.settings) == []


@pytest.mark.parametrize(("share", "told"), [(0.3, True), (0.02, False)])
def test_what_stands_on_feet_is_told_of_the_board(share, told):
    assert ('kind = "board"' in said(assumed((100, 60, 300), share=share), "mount")) == told


def test_a_measured_size_rules_rubber_wall_and_bolts():
    small, large = (
        assumed((32.0, 16.0, 20.0)),
        assume(name="x", file="x.stl", suffix=".stl", size=(32.0, 16.0, 20.0), base=Base(0.0, 0.0), longest_mm=800.0),
    )
    assert large.size_mm == pytest.approx((800.0, 400.0, 500.0))
    assert large.settings.pattern.longest_side_mm == 800.0
    alike = assumed((800.0, 400.0, 500.0))
    for key in ("jacket.thickness_mm", "jacket.crevice_mm", "shell.wall_mm", "bolts.size"):
        assert large.chosen[key] == alike.chosen[key] != small.chosen[key]
