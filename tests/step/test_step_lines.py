"""Lines through solids, and what closed curves and shared surfaces come back as."""

import numpy as np
import pytest
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.Geom2d import Geom2d_BSplineCurve

from shellgen.checks.step_lines import LINES, Lines, lines_through
from shellgen.checks.step_reread import graph_on, moved_back, read_solids
from shellgen.checks.step_volume import volume_mm3
from shellgen.envelope.spline_fit_graph import SplineGraph, clamped, greville
from shellgen.solid.brep import occ
from shellgen.solid.brep.own_surface import own_surfaces
from shellgen.solid.brep.planar_curve import through


def read_back(build, name):
    """A piece's faces as they lie in its file, in its pull frame, and the box about it."""
    piece = build.piece(name)
    solid = moved_back(read_solids(build.folder / build.files.paths[name])[0], piece.pull_to_mold)
    part = next(p for p in build.mold.parts if p.name == name)
    frame = piece.pull_to_mold
    corners = part.vertices_mm @ frame[:3, :3] - frame[:3, 3] @ frame[:3, :3]
    return solid, corners.min(axis=0), corners.max(axis=0)


def without_face(solid, k):
    faces = occ.explored(solid, "face")
    return occ.solid_of([f for n, f in enumerate(faces) if n != k])


def test_every_line_leaves_a_sound_piece(ball):
    assert lines_through(*read_back(ball, "A")) == Lines(LINES, 0, 0)


def test_a_missing_face_lets_lines_in(ball):
    solid, low, high = read_back(ball, "A")
    faces = occ.explored(solid, "face")
    largest = max(range(len(faces)), key=lambda k: len(occ.explored(faces[k], "wire")))  # a plane with all its holes
    for k in (largest, next(k for k, f in enumerate(faces) if graph_on(f) is not None)):
        found = lines_through(without_face(solid, k), low, high)
        assert found.odd > 10 and not found.sound


def ring_curve(radius, middle=(0.0, 0.0), n=24):
    t = 2 * np.pi * np.arange(n) / n
    return through(np.column_stack([middle[0] + radius * np.cos(t), middle[1] + radius * np.sin(t)]), True)


def sloping(span=30.0, slope=0.2):
    """A graph of the plane z = 3 + slope x that dives to -500 in its far corner."""
    knots = clamped(np.arange(-span + 3, span, 3.0), -span, span)
    g = greville(knots)
    poles = np.repeat((3.0 + slope * g)[:, None], len(g), axis=1)
    poles[:3, :3] = -500.0
    return SplineGraph(knots, knots, poles)


def face_on(graph, surface, edge_curves):
    """A face on a graph within closed curves in plan, the first one its outer edge."""
    wires = []
    for curve, outer in edge_curves:
        knots, plan = curve.knots, curve.poles_mm
        space = np.column_stack([plan, graph.at(*plan.T)])
        v = occ.vertex(space[0], 0.02)
        edge = occ.edge(occ.spline_curve(knots, space), v, v, float(knots[0]), float(knots[-1]), 0.02)
        occ.lay_on(edge, occ.spline_curve_2d(knots, plan), surface, float(knots[0]), float(knots[-1]), 0.02)
        wires.append([(edge, outer)])
    return occ.face(surface, wires, True)


def test_flux_through_a_periodic_edge_that_starts_a_turn_late():
    graph, curve = sloping(), ring_curve(9.0)
    surface = occ.spline_surface(graph)
    item = face_on(graph, surface, [(curve, True)])
    exact = volume_mm3(item, graph_on)
    # z over the disc is 3 on average; the curve is a circle to 1e-4
    assert exact == pytest.approx(3.0 * np.pi * 81.0, rel=1e-4)
    (edge,) = occ.explored(item, "edge")
    late = occ.spline_curve_2d(curve.knots, curve.poles_mm)
    assert isinstance(late, Geom2d_BSplineCurve)
    late.SetPeriodic()
    turn = float(curve.knots[-1] - curve.knots[0])
    low, high = float(curve.knots[0]) + turn, float(curve.knots[-1]) + turn
    occ.lay_on(edge, late, surface, low, high, 0.02)
    assert volume_mm3(item, graph_on) == pytest.approx(exact, rel=1e-9)


def test_a_closed_curve_cut_in_two_meets_itself():
    curve = ring_curve(9.0)
    assert curve.parts(100) == [curve]
    halves = curve.parts(100, least=2)
    assert [h.closed for h in halves] == [False, False]
    assert np.array_equal(halves[0].poles_mm[-1], halves[1].poles_mm[0])
    assert np.array_equal(halves[1].poles_mm[-1], halves[0].poles_mm[0])


def test_faces_that_share_a_surface_get_their_own_part_of_it():
    graph = sloping()
    surface = occ.spline_surface(graph)
    shared = [
        face_on(graph, surface, [(ring_curve(6.0, (12.0, 10.0)), True), (ring_curve(2.0, (12.0, 10.0)), False)]),
        face_on(graph, surface, [(ring_curve(4.0, (-5.0, -3.0)), True)]),
    ]
    assert own_surfaces(shared[:1], graph, surface) == shared[:1]
    fluxes = [volume_mm3(f, graph_on) for f in shared]
    own = own_surfaces(shared, graph, surface)
    for item, flux, poles in zip(own, fluxes, (49, 36), strict=True):
        found = graph_on(item)
        assert found is not None and found.poles_mm.size <= poles + 30 < graph.poles_mm.size
        assert volume_mm3(item, graph_on) == pytest.approx(flux, abs=1e-6)
        assert BRepCheck_Analyzer(item).IsValid()
