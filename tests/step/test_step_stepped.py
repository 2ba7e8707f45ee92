"""Stepped mating faces as splines: a tilted disc whose silhouette is known, plates lifted onto known graphs."""

import numpy as np
import pytest
import shapely

from shellgen.checks.step_reread import counts, graph_on, moved_back, read_solids
from shellgen.checks.step_surfaces import skins_of, without
from shellgen.checks.step_volume import volume_mm3
from shellgen.envelope.spline_fit import foot_distance
from shellgen.envelope.spline_fit_graph import SplineGraph, clamped, greville
from shellgen.mold.drape import spec_of
from shellgen.solid.brep import occ
from shellgen.solid.brep.caps import caps_of, sorted_faces
from shellgen.solid.brep.land import stepped_land, turned_over
from shellgen.solid.brep.lift import Ground, Lift
from shellgen.solid.brep.loops import faces_of
from shellgen.solid.brep.piece import fault_of
from shellgen.solid.brep.plate import with_features
from shellgen.solid.brep.shapes import outline_solid
from shellgen.solid.recipe import Feature, Frustum, Outline, Role, inverse, transform
from tests.step.conftest import BOW_MM, COLUMN_MM, DISC_MM, TILT_DEG, bowed_mm
from tests.step.test_step_trace import bowl

HIGH_MM = 6.0


def land_faces(build, name):
    """The graphs of a piece's mating and outer flange face, from its file."""
    piece = build.piece(name)
    (solid,) = read_solids(build.folder / build.files.paths[name])
    inside, outside = skins_of(moved_back(solid, piece.pull_to_mold))
    low, skins = without(inside, piece, piece.parting.at)
    high, more = without(outside, piece, piece.flange_top.at)
    assert len(skins) == len(more) == 1
    return low, high


def test_both_mating_faces_are_one_spline(disc):
    first, second = (land_faces(disc, name)[0][0] for name in "AB")
    assert np.abs(first.knots_x + second.knots_x[::-1]).max() < 1e-9
    assert np.abs(first.poles_mm + second.poles_mm[::-1]).max() < 1e-6
    assert np.ptp(first.poles_mm) > 10  # it is stepped indeed


def test_mating_face_lies_on_the_known_silhouette(disc):
    """As for the raster (see the stepped builds): a level step from the disc's rim circle keeps its height.

    Terraces at the bolts stand off from it; most of the rim is free of them.
    """
    graph = land_faces(disc, "A")[0][0]
    phi, tilt = np.linspace(0, 2 * np.pi, 145)[:-1], np.radians(TILT_DEG)
    radial = np.column_stack([np.cos(phi), np.sin(phi) * np.cos(tilt), np.sin(phi) * np.sin(tilt)])
    normal = np.array([0.0, -np.sin(tilt), np.cos(tilt)])
    level = radial * normal[2] - np.outer(radial[:, 2], normal)
    level /= np.linalg.norm(level, axis=1)[:, None]
    level *= np.sign(np.einsum("ij,ij->i", level, radial))[:, None]
    rim = DISC_MM[0] * radial + spec_of(disc.mold.design.settings, "A").jacket_mm * level
    rim += disc.mold.design.pattern.bounds_mm.mean(axis=0)
    local = transform(rim, inverse(disc.piece("A").pull_to_mold))
    off = np.abs(graph.at(local[:, 0], local[:, 1]) - local[:, 2])
    # half the disc's thickness, half a raster step up the slope, and the smoothing over 2 mm
    assert np.median(off) < 0.5 * DISC_MM[1] + 0.25 + 1.2
    assert np.abs(local[:, 2]).max() > 15  # the plane would be off by that


def test_flange_keeps_its_thickness_square_to_the_step(disc):
    for name in "AB":
        piece = disc.piece(name)
        low, high = (graphs[0] for graphs in land_faces(disc, name))
        seats = shapely.union_all(
            [shapely.Point(f.shape.base[:2]).buffer(9.0) for f in piece.features if f.role is Role.SEAT]
        )
        land = shapely.Polygon(piece.outline.outer).buffer(-1.0).difference(seats)
        x, y = (a.ravel() for a in np.meshgrid(np.arange(-90, 90, 1.0), np.arange(-90, 90, 1.0)))
        here = shapely.contains_xy(land, x, y)
        points = np.column_stack([x[here], y[here], high.at(x[here], y[here])])
        thick = foot_distance(low, points, steps=6)
        assert np.median(np.abs(thick - piece.outline.thickness_mm)) < 0.3


def test_seats_are_planes_at_the_flanges_thickness(disc):
    """Spot faces: a level plane under every washer, the flange's thickness over the terrace."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane

    piece = disc.piece("A")
    seats = [f.shape for f in piece.features if f.role is Role.SEAT]
    (solid,) = read_solids(disc.folder / disc.files.paths["A"])
    planes = []
    for face in occ.explored(moved_back(solid, piece.pull_to_mold), "face"):
        surface = BRepAdaptor_Surface(face)
        if surface.GetType() == GeomAbs_Plane and abs(surface.Plane().Axis().Direction().Z()) > 1 - 1e-12:
            planes.append(surface.Plane().Location().Z())
    assert seats
    for seat in seats:
        terrace = float(piece.parting.at(np.array(seat.base[0]), np.array(seat.base[1])))
        assert min(abs(z - terrace - piece.outline.thickness_mm) for z in planes) < 1e-6


def ground(graph, level):
    return Ground(graph, occ.spline_surface(graph), level)


def lifted_plate(features, low, high, level_mm=0.0):
    """A square plate of 24 mm with features, lifted onto two graphs."""
    ring = ((-12.0, -12.0), (12.0, -12.0), (12.0, 12.0), (-12.0, 12.0))
    body = with_features([outline_solid(Outline(ring, (), HIGH_MM), 0.0, HIGH_MM)], features, "a plate")

    class Flat:
        outline = Outline(ring, (), HIGH_MM)
        on_board = False
        base = None

    kept, sides = sorted_faces(body, caps_of(Flat()))
    lift = Lift(ground(low, 0.0), ground(high, HIGH_MM), lambda x, y, z: level_mm, "it")
    faces = lift.faces(kept)
    for g, name, outward in ((lift.low, "mating", False), (lift.high, "top", True)):
        faces += faces_of(lift.sides(sides[name]), g.surface, outward, "it")
    return occ.solid_of(faces)


def saddle(lift_mm):
    """x y / 10 + lift, exact as a bicubic graph."""
    knots = clamped(np.arange(-19.0, 20.0), -20.0, 20.0)
    at = greville(knots)
    return SplineGraph(knots, knots, 0.1 * np.outer(at, at) + lift_mm)


def test_a_lifted_plate_has_its_area_times_its_height():
    """Between a graph and the same one raised lies the plan's area times the rise, a through hole less."""
    hole = Feature(Role.BOLT_HOLE, Frustum((5.0, 4.0, -1.0), (0.0, 0.0, 1.0), 9.0, 2.0, 2.0), add=False)
    solid = lifted_plate((hole,), saddle(0.0), saddle(7.0))
    assert fault_of(solid) is None
    assert counts(solid).genus == 1
    assert volume_mm3(solid, graph_on) == pytest.approx(7.0 * (24.0**2 - np.pi * 4.0), rel=1e-5)


def test_a_lifted_plate_may_have_other_graphs_on_both_sides():
    """Integral of the bowl 100 - x^2 - y^2 over the square: 100 a^2 - a^4 / 6."""
    solid = lifted_plate((), saddle(-40.0), bowl(top=300.0))
    assert fault_of(solid) is None
    a = 24.0
    assert volume_mm3(solid, graph_on) == pytest.approx(340.0 * a**2 - a**4 / 6.0, rel=1e-6)


def test_a_key_in_a_saddle_comes_out_of_it_along_a_true_line():
    """The key's flank meets the face it stands on within the edge's tolerance, though that is not flat."""
    key = Feature(Role.KEY, Frustum((1.0, -2.0, 0.4), (0.0, 0.0, -1.0), 3.4, 4.2, 2.0), add=True)
    solid = lifted_plate((key,), saddle(0.0), saddle(7.0), level_mm=-0.2)
    assert fault_of(solid) is None
    assert counts(solid).loosest_mm < 0.01
    # summed over the plan: from the saddle down to the cone, which goes on above its base, or to its flat tip
    x, y = np.meshgrid(np.arange(-5, 7, 0.01), np.arange(-8, 4, 0.01))
    bottom = 0.4 - 0.2 - np.minimum((4.2 - np.hypot(x - 1.0, y + 2.0)) * 3.4 / 2.2, 3.4)
    summed = np.maximum(0.1 * x * y - bottom, 0.0).sum() * 0.01**2
    assert volume_mm3(solid, graph_on) == pytest.approx(7.0 * 24.0**2 + summed, rel=1e-4)


def test_halves_get_the_same_spline_each_by_itself(disc):
    first, second = (stepped_land(disc.piece(n), 0.15).mating for n in "AB")
    again = turned_over(second)
    assert np.array_equal(first.poles_mm, again.poles_mm)
    assert np.array_equal(first.knots_x, again.knots_x)


def test_a_stepped_piece_on_a_board_passes_its_checks(column):
    wrong = [f.says for f in column.findings.values() if f.status != "pass"]
    assert not wrong
    assert set(column.files.paths) == {"A", "B", "lid"}
    assert column.findings["step-mating"].value == 0.0


def test_on_a_board_the_mating_face_lies_on_the_known_silhouette(column):
    """Circles bowed along the pull are widest where their middles are; a jacket square to them is as far off."""
    z = np.linspace(4.0, 0.8 * COLUMN_MM[1], 60)
    bow = bowed_mm(z) - 0.5 * BOW_MM  # the mold's middle is the column's
    reach = COLUMN_MM[0] + spec_of(column.mold.design.settings, "A").jacket_mm + 1.0
    graph = land_faces(column, "A")[0][0]
    off = []
    for side in (1.0, -1.0):
        rim = np.column_stack([side * np.full_like(z, reach), bow, z])
        local = transform(rim, inverse(column.piece("A").pull_to_mold))
        off.append(np.abs(graph.at(local[:, 0], local[:, 1]) - local[:, 2]))
    assert np.ptp(bow) > 15
    assert np.median(off) < 0.5  # half a raster step up the slope; the smoothing over 2 mm runs along a straight side
