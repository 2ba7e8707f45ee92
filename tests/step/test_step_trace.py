"""Trimming curves and smooth outlines, against circles and lines."""

import numpy as np
import pytest
import shapely

from shellgen.envelope.spline_fit_graph import SplineGraph, clamped, greville
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Difference, PlaneGraph
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.planar_curve import PlanarCurve, through
from shellgen.solid.brep.smooth_ring import Circle, Straight, smooth_ring
from shellgen.solid.brep.trace import TRACE_MM, signed_area, trace

KNOTS = clamped(np.arange(-19.0, 20.0), -20.0, 20.0)


def bowl(sign=1.0, middle=(0.0, 0.0), top=100.0):
    """sign * (top - x^2 - y^2) as an exact bicubic graph: the polar form of t^2 at three knots in a row."""
    k = KNOTS
    a, b, c = k[1:-3], k[2:-2], k[3:-1]
    square, line = (a * b + b * c + c * a) / 3, greville(k)
    x = square - 2 * middle[0] * line + middle[0] ** 2
    y = square - 2 * middle[1] * line + middle[1] ** 2
    return SplineGraph(k, k, sign * (top - x[:, None] - y[None, :]))


def signs(graph, level=0.0):
    x, y = np.meshgrid(np.linspace(-19, 19, 77), np.linspace(-19, 19, 77))
    return np.column_stack([x.ravel(), y.ravel(), np.sign(graph.at(x, y) - level).ravel()])


def test_level_curve_of_a_bowl_is_its_circle():
    graph = bowl()
    (found,) = trace(Difference(graph, PlaneGraph(0.0)), graph.box_mm, (), signs(graph))
    ring = found.curve.polygon(8)
    assert found.curve.closed
    assert found.error_mm <= TRACE_MM
    # slope 20 on the circle of radius 10: a height of TRACE_MM is a twentieth of that in plan
    assert np.hypot(*ring.T) == pytest.approx(10.0, abs=TRACE_MM / 20)
    assert signed_area(ring[:-1]) == pytest.approx(100 * np.pi, rel=1e-3)  # positive: the bowl on its left


def test_tilted_plane_cuts_a_bowl_in_a_shifted_circle():
    graph = bowl()
    (found,) = trace(Difference(graph, PlaneGraph(0.0, 4.0, 0.0)), graph.box_mm, (), signs(graph))
    # 100 - x^2 - y^2 = 4 x: a circle of radius sqrt(104) about (-2, 0)
    assert np.hypot(*(found.curve.polygon(4) - [-2.0, 0.0]).T) == pytest.approx(np.sqrt(104.0), abs=1e-3)


def test_two_graphs_meet_where_they_are_equal():
    first, second = bowl(), bowl(sign=-1.0, top=28.0)
    difference = Difference(first, second)  # 128 - 2 r^2: zero on r = 8
    wanted = signs(first)
    wanted[:, 2] = np.sign(difference.at(wanted[:, 0], wanted[:, 1]))
    (found,) = trace(difference, first.box_mm, (), wanted)
    assert np.hypot(*found.curve.polygon(8).T) == pytest.approx(8.0, abs=1e-4)


def test_a_line_that_leaves_its_spline_is_an_error():
    graph = bowl(top=500.0)  # its circle, of radius 22.4, crosses the sides of a square of 40
    with pytest.raises(KernelError, match="runs out of its spline at"):
        trace(Difference(graph, PlaneGraph(0.0)), graph.box_mm, (), signs(graph))


def test_curve_is_clipped_at_the_board():
    graph = bowl()
    (found,) = trace(Difference(graph, PlaneGraph(0.0)), graph.box_mm, (Line(0.0, 1.0, -6.0),), signs(graph))
    ends = found.curve.poles_mm[[0, -1]]
    assert not found.curve.closed
    assert ends[:, 1].tolist() == [6.0, 6.0]
    assert ends[:, 0] == pytest.approx([8.0, -8.0], abs=1e-6)  # 10, 8, 6


def test_ripples_without_a_node_of_their_sign_are_left_alone():
    graph = bowl()
    wanted = signs(graph)
    wanted[:, 2] = -1.0  # the raster says: nothing stands here
    with pytest.raises(KernelError, match="does not reach the plane"):
        trace(Difference(graph, PlaneGraph(0.0)), graph.box_mm, (), wanted)


def test_parts_of_a_curve_meet_to_the_last_bit():
    t = 2 * np.pi * np.arange(60) / 60
    curve = through(np.column_stack([20 * np.cos(t), 10 * np.sin(t)]), closed=True)
    parts = curve.parts(7)
    assert len(parts) == 9
    for a, b in zip(parts, parts[1:] + parts[:1], strict=True):
        assert a.poles_mm[-1].tolist() == b.poles_mm[0].tolist()
    middle = 0.5 * (parts[3].knots[0] + parts[3].knots[-1])
    assert parts[3].at(middle) == pytest.approx(curve.at(middle), abs=1e-10)


def test_a_polygon_of_a_circle_becomes_the_circle():
    t = 2 * np.pi * np.arange(64) / 64
    pieces = smooth_ring(tuple((5 + 12 * float(np.cos(a)), -3 + 12 * float(np.sin(a))) for a in t))
    assert isinstance(pieces[0], Circle)
    assert pieces[0].middle == pytest.approx((5.0, -3.0))
    assert pieces[0].radius_mm == pytest.approx(12.0)


def test_a_rounded_box_keeps_its_area_with_few_pieces():
    rounded = shapely.box(0, 0, 80, 60).buffer(10, quad_segs=12)
    ring = tuple(map(tuple, np.asarray(rounded.exterior.coords)[:-1].tolist()))
    pieces = smooth_ring(ring)
    assert sum(isinstance(p, Straight) for p in pieces) == 4
    assert len(pieces) == 8
    points = np.concatenate([p.polygon() if isinstance(p, PlanarCurve) else np.array([p.start, p.end]) for p in pieces])
    # true corners add pi r^2 to the box and its sides
    assert abs(signed_area(points)) == pytest.approx(80 * 60 + 2 * 10 * 140 + np.pi * 100, rel=3e-4)
    assert shapely.hausdorff_distance(shapely.LinearRing(points), shapely.LinearRing(ring)) < 0.1


def test_many_straight_sides_between_arcs_become_one_curve():
    a = 2 * np.pi * np.arange(16) / 16
    rounded = shapely.Polygon(np.column_stack([80 * np.cos(a), 80 * np.sin(a)])).buffer(10, quad_segs=12)
    ring = tuple(map(tuple, np.asarray(rounded.exterior.coords)[:-1].tolist()))
    assert np.sum(np.hypot(*(np.roll(np.array(ring), -1, axis=0) - np.array(ring)).T) > 25.0) == 16
    (piece,) = smooth_ring(ring)
    assert isinstance(piece, PlanarCurve)
    points = piece.polygon()
    assert abs(signed_area(points)) == pytest.approx(rounded.area, rel=3e-4)
    assert shapely.hausdorff_distance(shapely.LinearRing(points), shapely.LinearRing(ring)) < 0.1
