"""The volume integral and the counts of a B-rep, against closed forms."""

import numpy as np
import pytest

from shellgen.checks.step_measure import faces_limit
from shellgen.checks.step_reread import counts, graph_on
from shellgen.checks.step_surfaces import bores_missing, designed_bores, mating_area_mm2
from shellgen.checks.step_volume import volume_mm3
from shellgen.solid.brep.occ import explored, in_frame
from shellgen.solid.brep.plate import plate_brep
from shellgen.solid.brep.shapes import feature_solid, prism_solid
from shellgen.solid.recipe import Dome, Feature, Frustum, Outline, PlateRecipe, Prism, Role


def tilted():
    """A rotation about (1, 2, 3) by one radian, and a shift."""
    k = np.array([1.0, 2.0, 3.0]) / np.sqrt(14)
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    frame = np.eye(4)
    frame[:3, :3] += np.sin(1) * cross + (1 - np.cos(1)) * cross @ cross
    frame[:3, 3] = 7.0, -4.0, 30.0
    return frame


UP = (0.0, 0.0, 1.0)
SHAPES = {
    "cylinder": (Frustum((1, 2, 3), UP, 10.0, 4.0, 4.0), np.pi * 16 * 10),
    "cone": (Frustum((0, 0, 0), UP, 9.0, 5.0, 2.0), np.pi * 9 / 3 * (25 + 10 + 4)),
    "cap": (Dome((0, 0, 0), UP, 4.0, 3.0), np.pi * 3 / 6 * (3 * 16 + 9)),
    "prism": (Prism(((0, 0), (6, 0), (0, 8)), (), (0, 0, 1), (1, 0, 0), (0, 1, 0), 5.0), 24 * 5.0),
}


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("frame", [np.eye(4), tilted()], ids=["straight", "tilted"])
def test_volumes_of_solids_with_closed_forms(name, frame):
    shape, exact = SHAPES[name]
    (solid,) = explored(feature_solid(shape), "solid")
    assert volume_mm3(in_frame(solid, frame), graph_on) == pytest.approx(exact, rel=1e-6)


def ring_plate(holes):
    t = 2 * np.pi * np.arange(120) / 120
    outline = Outline(tuple((40 * float(np.cos(a)), 40 * float(np.sin(a))) for a in t), (), 6.0)
    cuts = tuple(
        Feature(Role.BOLT_HOLE, Frustum((x, y, -1.0), UP, 8.0, r, r), add=False, through=True) for x, y, r in holes
    )
    return PlateRecipe("lid", "lid", np.eye(4), outline, cuts)


def test_a_plate_with_holes_is_exact_in_volume_genus_and_bores():
    holes = ((20.0, 0.0, 3.0), (-10.0, 18.0, 2.5), (-10.0, -18.0, 2.5))
    recipe = ring_plate(holes)
    solid = plate_brep(recipe)
    found = counts(solid)
    assert (found.genus, found.closed, found.faces) == (3, True, 6)
    area = np.pi * (1600 - 9 - 2 * 6.25)
    assert volume_mm3(solid, graph_on) == pytest.approx(6 * area, rel=1e-9)
    assert mating_area_mm2(solid, np.array(UP)) == pytest.approx(area, rel=1e-6)
    assert len(designed_bores(recipe.features)) == 3
    assert bores_missing(solid, recipe.features) == []


def test_a_bore_in_the_wrong_place_or_size_is_missed():
    solid = plate_brep(ring_plate(((20.0, 0.0, 3.0),)))
    for wrong in ((20.0, 0.1, 3.0), (20.0, 0.0, 3.1)):
        assert len(bores_missing(solid, ring_plate((wrong,)).features)) == 1


def test_a_boss_is_no_bore():
    (solid,) = explored(feature_solid(Frustum((0, 0, 0), UP, 5.0, 3.0, 3.0)), "solid")
    cut = Feature(Role.BOLT_HOLE, Frustum((0, 0, 0), UP, 5.0, 3.0, 3.0), add=False)
    assert len(bores_missing(solid, (cut,))) == 1
    assert mating_area_mm2(solid, np.array(UP)) == pytest.approx(np.pi * 9, rel=1e-6)  # its foot
    lifted = np.eye(4)
    lifted[2, 3] = 1e-3
    assert mating_area_mm2(in_frame(solid, lifted), np.array(UP)) == 0.0


def test_more_bolts_than_thirty_allow_more_faces():
    few = ring_plate(tuple((0.0, 0.0, 3.0) for _ in range(30)))
    many = ring_plate(tuple((0.0, 0.0, 3.0) for _ in range(42)))
    assert (faces_limit(few), faces_limit(many)) == (100, 112)


def test_a_wavy_wall_holds_the_same_whichever_way_it_is_pushed():
    """One profile along z, where its walls add nothing, and along y, where they are all that counts."""
    t = 2 * np.pi * np.arange(360) / 360
    radius = 60.0 + 1.5 * np.sin(40 * t)
    ring = tuple((float(x), float(y)) for x, y in np.column_stack([radius * np.cos(t), 0.6 * radius * np.sin(t)]))
    x, y, z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
    upright = volume_mm3(prism_solid(Prism(ring, (), (3.0, 5.0, 7.0), x, y, 6.0)), graph_on)
    lying = volume_mm3(prism_solid(Prism(ring, (), (3.0, 5.0, 7.0), z, x, 6.0)), graph_on)
    # an ellipse with 40 waves: 0.6 pi (60^2 + 1.5^2 / 2), which curves through nine points a wave follow closely
    assert upright == pytest.approx(6.0 * 0.6 * np.pi * (60.0**2 + 1.125), rel=5e-4)
    assert lying == pytest.approx(upright, rel=1e-6)
