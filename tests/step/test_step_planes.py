"""Pieces between a list of planes as STEP: mating faces in planes of the list, plates on them, ball-shaped skins."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely

from shellgen.checks.step import step_findings
from shellgen.checks.step_surfaces import mating_area_mm2, mating_planes, skins_of
from shellgen.errors import KernelError
from shellgen.export.step import write_steps
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.drape import spec_of
from shellgen.parting.surface import PlanesParting
from shellgen.pipeline import Watch, make_mold
from shellgen.progress import Quiet
from shellgen.solid.brep.graph import PlaneGraph
from shellgen.solid.brep.plan_lines import Line, clipped, closing, cropped_box, inner_ring
from shellgen.solid.brep.planes_graph import PlanesGraph
from shellgen.solid.brep.planes_plate import planes_body
from shellgen.solid.brep.planes_skin import planes_curves, stretches
from shellgen.solid.brep.plate_rings import ends_in_line, on_planes
from shellgen.solid.brep.side_edge import followed
from shellgen.solid.recipe import Feature, Frustum, Prism, Role, inverse, transform
from tests.step.conftest import BALL_MM
from tests.step.test_step_radial import plane_offsets, read_piece
from tests.step.test_step_trace import bowl

X, Y = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
BUILDS = ["capped", "stacked", "leaning"]


@pytest.mark.parametrize("name", BUILDS)
def test_every_piece_is_written_and_passes(name, request):
    build = request.getfixturevalue(name)
    assert not build.files.refused
    assert {f.id: f.status for f in build.findings.values() if f.status != "pass"} == {}


@pytest.mark.parametrize("name", BUILDS)
def test_each_mating_face_is_a_plane_with_a_plate_on_it(name, request):
    build = request.getfixturevalue(name)
    counted = 0
    for piece in build.mold.design.pieces:
        solid = read_piece(build, piece.name)
        plates = [f for f in piece.features if f.role is Role.PLATE]
        for normal, offset in mating_planes(piece.parting):
            assert mating_area_mm2(solid, normal, offset) > 100.0
            assert np.abs(np.array(plane_offsets(solid, normal)) - offset - piece.outline.thickness_mm).min() < 1e-9
        counted += len(plates)
    assert counted >= 4


@pytest.mark.parametrize("name", BUILDS)
def test_mating_faces_lie_in_the_planes_of_the_list(name, request):
    """Each mating plane of a piece, in the mold frame, is one of the list's, and the neighbour has its other side."""
    build = request.getfixturevalue(name)
    seen = []
    for piece in build.mold.design.pieces:
        frame = piece.pull_to_mold
        for normal, offset in mating_planes(piece.parting):
            up = frame[:3, :3] @ normal
            seen.append((piece.name, np.append(up, offset + up @ frame[:3, 3])))
    for owner, plane in seen:
        assert any(owner != other and np.abs(plane + back).max() < 1e-9 for other, back in seen)


@pytest.mark.parametrize("name", ["capped", "leaning"])
def test_skins_are_balls(name, request):
    """Offsets of a ball are balls: where the wall is gentler than its draft and away from planes, to the tolerance."""
    build = request.getfixturevalue(name)
    for piece in build.mold.design.pieces:
        spec = spec_of(build.mold.design.settings, piece.name)
        middle = transform(build.mold.design.pattern.bounds_mm.mean(axis=0)[None], inverse(piece.pull_to_mold))[0]
        thick = piece.outline.thickness_mm
        for graphs, grown, by_mm in zip(
            skins_of(read_piece(build, piece.name)), (spec.inside_mm, spec.outside_mm), (0.0, thick), strict=True
        ):
            radius = BALL_MM + grown
            x, y = (a.ravel() for a in np.meshgrid(np.arange(-60, 60, 0.7), np.arange(-60, 60, 0.7)))
            z = np.sqrt(np.maximum(radius**2 - x**2 - y**2, 0.0))
            space = np.column_stack([x, y, z]) + middle
            clear = np.hypot(x, y) < 0.9 * radius
            for normal, offset in mating_planes(piece.parting):
                clear &= space @ normal > offset + by_mm + 4.0
            assert clear.sum() > 50
            off = np.full(len(x), np.inf)
            for graph in graphs:
                reach = np.column_stack([x, y, graph.at(space[:, 0], space[:, 1]) - middle[2]])
                off = np.minimum(off, np.abs(np.linalg.norm(reach, axis=1) - radius))
            assert np.quantile(off[clear], 0.99) < 0.15 + 0.25 * 0.6  # tolerance, and chords of a 0.6 mm raster


def test_what_cannot_be_built_is_refused_by_name_and_place(capped):
    piece = capped.piece("B")
    plate = next(f for f in piece.features if f.role is Role.PLATE)
    tilted = replace(plate, shape=replace(plate.shape, x_axis=(0.6, 0.0, 0.8), y_axis=Y))
    with pytest.raises(
        KernelError, match=r"shell piece B: a plate of its flange at .* lies on none of its mating faces"
    ):
        planes_body(piece, (tilted,))
    foot = Feature(Role.FOOT, Frustum((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 5.0, 5.0), add=True, body=True)
    with pytest.raises(KernelError, match="shell piece B: a foot on leaning plates is not written as STEP"):
        planes_body(piece, (plate, foot))


def test_creases_and_sides_bound_each_plane():
    trim = PlanesGraph((PlaneGraph(0.0, 1.0), PlaneGraph(2.0, -1.0)), (Line(0.0, -1.0, 6.0),))
    crease = trim.crease(0, 1)
    assert (crease.a, crease.b, crease.c_mm) == (1.0, 0.0, -1.0)  # x > 2 - x
    assert trim.bounds(1) == (Line(-1.0, 0.0, 1.0), Line(0.0, -1.0, 6.0))
    assert trim.within(np.array([0.0, 0.0]), np.array([5.0, 7.0])).tolist() == [True, False]
    assert crease.place(3.0).tolist() == [1.0, -3.0]
    assert crease.normal @ crease.way == 0.0


def test_skin_on_a_slanted_valley_is_two_arcs_and_a_chord():
    """100 - r^2 over planes that meet in x = y and rise at slopes +-s across it, cut off at x + y = 4 sqrt 2."""
    slope, h = 3.0, np.sqrt(0.5)
    valley = (PlaneGraph(0.0, slope * h, -slope * h), PlaneGraph(0.0, -slope * h, slope * h))
    trim = PlanesGraph(valley, (Line(-h, -h, 4.0),))
    graph = bowl()
    x, y = np.meshgrid(np.linspace(-19, 19, 77), np.linspace(-19, 19, 77))
    wanted = np.column_stack([x.ravel(), y.ravel(), np.sign(graph.at(x, y) - trim.at(x, y)).ravel()])
    curves = planes_curves(graph, trim, wanted)
    assert len(curves) == 2
    for sign, curve in zip((1.0, -1.0), curves, strict=True):
        # 100 - r^2 = s t, t across the crease: a circle about t = -s / 2
        middle = -0.5 * slope * sign * np.array([h, -h])
        ring = np.hypot(*(curve.curve.polygon(8) - middle).T)
        assert ring == pytest.approx(np.sqrt(100.0 + 0.25 * slope**2), abs=1e-3)
    ends = [tuple(c.curve.poles_mm[k]) for c in curves for k in (0, -1)]
    shared = [a for a, b in combinations(ends, 2) if a == b]
    assert len(shared) == 1  # the same to the bit, where the crease leaves the bowl
    assert shared[0] == pytest.approx((-10 * h, -10 * h), abs=1e-4)
    (chord,) = stretches(graph, trim, curves)
    assert chord.corners == (False, False)
    half = -0.5 * slope + np.sqrt(0.25 * slope**2 + 100.0 - 16.0)
    assert np.hypot(*np.subtract(chord.high, chord.low)) == pytest.approx(2 * half, abs=1e-3)


def test_skin_turns_the_corner_of_two_sides():
    trim = PlanesGraph((PlaneGraph(0.0),), (Line(1.0, 0.0, -1.0), Line(0.0, 1.0, -2.0)))
    graph = bowl()
    x, y = np.meshgrid(np.linspace(-19, 19, 77), np.linspace(-19, 19, 77))
    wanted = np.column_stack([x.ravel(), y.ravel(), np.sign(graph.at(x, y)).ravel()])
    curves = planes_curves(graph, trim, wanted)
    assert len(curves) == 1
    found = stretches(graph, trim, curves)
    assert sorted(s.corners for s in found) == [(False, True), (True, False)]
    assert {p for s in found for p, corner in zip((s.low, s.high), s.corners, strict=True) if corner} == {(1.0, 2.0)}
    assert sum(np.hypot(*np.subtract(s.high, s.low)) for s in found) == pytest.approx(
        np.sqrt(99.0) - 2.0 + np.sqrt(96.0) - 1.0, abs=1e-4
    )


def test_a_line_on_a_skin_is_followed_at_any_angle():
    graph = bowl()
    for angle in (0.0, 0.3, np.pi / 2):
        a, b = (float(v) for v in np.round([np.cos(angle), np.sin(angle)], 12))
        knots, heights, off = followed(graph, Line(a, b, -2.0), -5.0, 6.0)
        assert off < 1e-9  # a parabola
        assert heights[[0, -1]] == pytest.approx([100.0 - 4.0 - 25.0, 100.0 - 4.0 - 36.0])
        assert knots[[0, -1]].tolist() == [-5.0, 6.0]


def test_ends_of_two_plates_come_in_line():
    """Two plates on faces at a right angle, ends a few hundredths off square to the crease and off each other."""
    flat = Prism(((0.02, 0.0), (30.0, 0.01), (30.0, 40.02), (0.0, 40.0)), (), (0.0, 0.0, 0.0), X, Y, 5.0)
    turned = Prism(
        ((0.0, 0.015), (0.0, 40.0), (-20.0, 40.01), (-20.0, 0.0)), (), (0.0, 0.0, 0.0), (0.0, 0.0, -1.0), Y, 5.0
    )
    planes = [(np.array(X), 0.0), (np.array(Y), 0.0)]
    flat = on_planes(flat, planes)
    assert flat.outer[0] == (0.0, 0.0)
    ends = [np.asarray(p.outer)[:, 1] for p in ends_in_line([flat, on_planes(turned, planes[1:])])]
    assert sorted({float(v) for e in ends for v in e}) == pytest.approx([0.0, 40.02])
    assert len({float(v) for e in ends for v in e}) == 2


def test_polylines_are_cut_at_lines():
    t = np.linspace(0.0, 2 * np.pi, 361)
    ring = 10.0 * np.column_stack([np.cos(t), np.sin(t)])
    ring[-1] = ring[0]
    wedge = (Line(0.6, 0.8, 0.0), Line(0.8, -0.6, 0.0))  # a quarter, turned
    (arc,) = clipped(ring, wedge)
    assert all(float(line.over(*arc.T).min()) > -1e-12 for line in wedge)
    assert arc[0] == pytest.approx([6.0, 8.0], abs=2e-3) or arc[0] == pytest.approx([8.0, -6.0], abs=2e-3)
    region = inner_ring((-20.0, -20.0, 20.0, 20.0), wedge)
    assert shapely.Polygon(closing(arc, region)).area == pytest.approx(25 * np.pi, rel=1e-3)
    assert clipped(ring, (Line(1.0, 0.0, -11.0),)) == []
    assert clipped(ring, (Line(1.0, 0.0, 11.0),))[0] is ring
    assert cropped_box((0.0, 0.0, 4.0, 4.0), (Line(0.0, -1.0, 3.0), *wedge)) == (0.0, 0.0, 4.0, 3.0)
    assert cropped_box((0.0, 0.0, 4.0, 4.0), (Line(1.0, 0.0, -5.0),)) is None


@pytest.mark.slow
def test_a_capped_finial_on_its_stem(tmp_path):
    """A whole demo under a cap: every STEP check passes, and the pieces hold what their meshes hold."""
    planes = [{"normal": [0, 0, 1], "offset_mm": 228}, {"angle_deg": 90, "splits": "B"}]
    data = {
        "name": "finial",
        "pattern": {"demo": "gate-finial"},
        "mount": {"kind": "stem", "stem_diameter_mm": 36},
        "parting": {"kind": "planes", "planes": planes},
    }
    mold = make_mold(Job(Settings.model_validate(data), tmp_path / "x.toml"), Watch(Quiet()))
    files = write_steps(mold, tmp_path, Quiet())
    assert not files.refused
    findings = step_findings(mold, tmp_path, files)
    assert {f.id: f.says for f in findings if f.status != "pass"} == {}
    assert {p.name for p in mold.design.pieces if isinstance(p.parting, PlanesParting)} == {"B", "C"}
