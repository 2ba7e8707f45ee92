"""The spline fit, against splines and surfaces that are known exactly."""

import numpy as np
import pytest
from scipy.interpolate import NdBSpline

from shellgen.envelope.raster import Envelope, Grid
from shellgen.envelope.spline_fit import fit_graph, foot_distance
from shellgen.envelope.spline_fit_graph import SplineGraph, clamped, greville
from shellgen.envelope.spline_fit_kernels import BANDS, cholesky_banded, normal_times, solve_banded
from shellgen.envelope.spline_fit_nodes import surface_nodes, unraised
from shellgen.envelope.spline_fit_solve import solve
from shellgen.envelope.widen import widened
from shellgen.errors import KernelError

RADIUS, DRAFT_DEG = 40.0, 3.0


def drafted_ball(grid):
    """Height of a ball of RADIUS about the origin, its wall the tangent cone where it stands steeper than the draft."""
    a = np.radians(DRAFT_DEG)
    rho = np.hypot(*np.meshgrid(grid.x_mm, grid.y_mm))
    cap = np.sqrt(np.maximum(RADIUS**2 - rho**2, 0.0))
    return np.where(rho <= RADIUS * np.cos(a), cap, RADIUS / np.sin(a) - rho / np.tan(a))


def ball_envelope(pitch=0.5):
    n = int(110 / pitch)
    grid = Grid(-55.13, -55.21, pitch, n, n)
    return Envelope(grid, np.maximum(drafted_ball(grid), -27.0), RADIUS, 5.0, DRAFT_DEG, -27.0)


def random_graph(seed=0):
    rng = np.random.default_rng(seed)
    kx = clamped(np.sort(rng.uniform(0, 10, 9)), 0.0, 10.0)
    ky = clamped(np.sort(rng.uniform(-5, 5, 6)), -5.0, 5.0)
    return SplineGraph(kx, ky, rng.normal(size=(len(kx) - 4, len(ky) - 4)))


def test_graph_agrees_with_scipy():
    graph = random_graph()
    x, y = np.random.default_rng(1).uniform([0, -5], [10, 5], (500, 2)).T
    x[:2], y[:2] = (0.0, 10.0), (5.0, -5.0)
    reference = NdBSpline((graph.knots_x, graph.knots_y), graph.poles_mm, 3)
    points = np.column_stack([x, y])
    assert graph.at(x, y) == pytest.approx(reference(points), abs=1e-12)
    for found, order in zip(graph.gradient(x, y), ((1, 0), (0, 1)), strict=True):
        assert found == pytest.approx(reference(points, nu=order), abs=1e-10)
    assert graph.on_grid(x[2:5], y[2:5]).diagonal() == pytest.approx(graph.at(x[2:5], y[2:5]), abs=1e-12)


def test_poles_at_greville_points_make_the_parameter_the_coordinate():
    knots = random_graph().knots_x
    line = SplineGraph(knots, knots, np.repeat(greville(knots)[:, None], len(knots) - 4, axis=1))
    x = np.linspace(0, 10, 31)
    assert line.at(x, x) == pytest.approx(x, abs=1e-12)


def test_solve_returns_the_spline_that_made_the_heights():
    graph = random_graph(3)
    x, y = np.linspace(0, 10, 90), np.linspace(-5, 5, 80)
    weights = np.random.default_rng(4).uniform(0.2, 1.0, (80, 90))
    again = solve(graph.on_grid(x, y), weights, x, y, graph.knots_x, graph.knots_y)
    assert again.poles_mm == pytest.approx(graph.poles_mm, abs=2e-4)


def test_normal_matrix_and_its_neighbour_are_as_numpy_has_them():
    rng = np.random.default_rng(5)
    nx, ny, stiff = 7, 6, 0.3
    matrix, p = rng.normal(size=(len(BANDS), nx, ny)), rng.normal(size=(nx, ny))
    dense = np.zeros((nx, ny, nx, ny))
    for k, (a, b) in enumerate(BANDS):
        for i in range(max(-a, 0), nx - max(a, 0)):
            for j in range(ny - b):
                dense[i, j, i + a, j + b] = dense[i + a, j + b, i, j] = matrix[k, i, j]
    dense = dense.reshape(nx * ny, nx * ny)
    for n, left, right in ((nx, 1, ny), (ny, nx, 1)):  # second differences along each axis
        bent = np.kron(np.kron(np.eye(left), np.diff(np.eye(n), n=2, axis=0)), np.eye(right))
        dense += stiff * bent.T @ bent
    out = np.empty_like(p)
    normal_times(matrix, stiff, p, out)
    assert out.ravel() == pytest.approx(dense @ p.ravel(), abs=1e-12)
    factors, wholes = [], []
    for n in (nx, ny):
        half = np.tril(np.triu(rng.normal(size=(n, n)), -3)) + 4 * np.eye(n)
        whole = half @ half.T
        bands = np.array([[whole[i + k, i] if i + k < n else 0.0 for k in range(4)] for i in range(n)])
        cholesky_banded(bands)
        factors.append(bands)
        wholes.append(whole)
    solved = p.copy()
    solve_banded(*factors, solved)
    assert wholes[0] @ solved @ wholes[1] == pytest.approx(p, abs=1e-11)


def test_foot_distance_is_square_to_the_surface():
    x = np.linspace(-10, 10, 60)
    tilted = solve(3.0 * x[None, :] + 0 * x[:, None], np.ones((60, 60)), x, x, *[clamped(np.array([0.0]), -10, 10)] * 2)
    points = np.array([[0.0, 0.0, 5.0], [1.0, 2.0, 3.0]])
    assert foot_distance(tilted, points) == pytest.approx([5 / np.sqrt(10), 0.0], abs=1e-4)


def test_fit_of_a_drafted_ball_is_within_tolerance_of_the_exact_surface():
    graph, report = fit_graph(ball_envelope(), level_mm=0.0, low_y_mm=None, tolerance_mm=0.15)
    assert report.p99_mm <= 0.15
    rng = np.random.default_rng(5)
    angle, up = rng.uniform(0, 2 * np.pi, 4000), rng.uniform(np.sin(np.radians(DRAFT_DEG)), 1, 4000)
    flat = np.sqrt(1 - up**2)
    exact = RADIUS * np.column_stack([flat * np.cos(angle), flat * np.sin(angle), up])  # even on the ball: Archimedes
    gap = foot_distance(graph, exact)
    assert np.quantile(gap, 0.99) < 0.16
    assert gap.max() < 0.6


def test_a_tighter_tolerance_takes_more_poles_and_is_kept():
    loose, _ = fit_graph(ball_envelope(), level_mm=0.0, low_y_mm=None, tolerance_mm=0.3)
    tight, report = fit_graph(ball_envelope(), level_mm=0.0, low_y_mm=None, tolerance_mm=0.08)
    assert report.p99_mm <= 0.08
    assert tight.poles_mm.size > loose.poles_mm.size


def test_spline_stays_below_its_level_outside_the_trim():
    envelope = ball_envelope()
    graph, _ = fit_graph(envelope, level_mm=0.0, low_y_mm=None, tolerance_mm=0.15)
    x, y = np.meshgrid(np.linspace(-46, 46, 300), np.linspace(-46, 46, 300))
    rho = np.hypot(x, y)
    foot = RADIUS / np.cos(np.radians(DRAFT_DEG))  # the cone meets z = 0 there
    outside = graph.at(x, y)[(rho > foot + 0.5) & (rho < 46)]
    assert outside.max() < 0.0


def test_raising_is_taken_back():
    envelope = ball_envelope(0.7)
    raised = envelope.with_heights(widened(envelope.heights_mm))
    assert np.abs(raised.heights_mm - envelope.heights_mm).max() > 0.5
    above = envelope.heights_mm > -20
    assert unraised(raised)[above] == pytest.approx(envelope.heights_mm[above], abs=0.01)


def test_surface_nodes_hold_the_volume_of_the_raised_ones_and_are_smooth():
    envelope = ball_envelope(0.7)
    raised = envelope.with_heights(widened(envelope.heights_mm))
    smooth = surface_nodes(raised)
    above = envelope.heights_mm > 0
    added = (raised.heights_mm - envelope.heights_mm)[above].sum()
    assert 0.7 * added < (smooth - envelope.heights_mm)[above].sum() < 1.1 * added  # some is spread below the level
    # square to the ball, raised nodes are uneven from one to the next; these are less so
    x, y = np.meshgrid(envelope.grid.x_mm, envelope.grid.y_mm)
    near = (np.hypot(x, y) < RADIUS - 0.1) & (np.hypot(x, y) > 0.8 * RADIUS)
    rough = []
    for z in (raised.heights_mm, smooth):
        off = np.sqrt(x**2 + y**2 + z**2)
        rough.append(np.abs(np.diff(off, axis=1))[near[:, 1:] & near[:, :-1]].max())
    assert rough[1] < 0.5 * rough[0]


def test_nothing_above_the_level_is_an_error():
    with pytest.raises(KernelError, match="nothing of an envelope lies 90 mm above the parting"):
        fit_graph(ball_envelope(), level_mm=90.0, low_y_mm=None, tolerance_mm=0.15)
