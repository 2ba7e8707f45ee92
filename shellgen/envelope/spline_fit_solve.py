"""Weighted least squares of a bicubic graph on a raster: normal equations by diagonals, conjugate gradients."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, SplineGraph, greville

STIFFNESS = 1e-7  # weight of second pole differences beside that of a raster node: fills what no node reaches
STEPS = 300
RESIDUAL = 1e-6

Diagonals = dict[tuple[int, int], FloatArray]


def solve(
    heights_mm: FloatArray,
    weights: FloatArray,
    x_mm: FloatArray,
    y_mm: FloatArray,
    knots_x: FloatArray,
    knots_y: FloatArray,
    start: SplineGraph | None = None,
) -> SplineGraph:
    """The graph that best fits heights (rows, columns) with weights of that shape. start : a graph to begin from."""
    from scipy.interpolate import BSpline

    bx = BSpline.design_matrix(x_mm, knots_x, DEGREE)
    by = BSpline.design_matrix(y_mm, knots_y, DEGREE)
    shape = (bx.shape[1], by.shape[1])
    matrix = _normal(bx, by, weights)
    right = bx.T @ (by.T @ (weights * heights_mm)).T
    diagonal = matrix[0, 0] + STIFFNESS * _bent_diagonal(shape)

    def times(p: FloatArray) -> FloatArray:
        return _product(matrix, p) + STIFFNESS * _bent_twice(p)

    first = np.zeros(shape) if start is None else _poles_of(start, knots_x, knots_y)
    return SplineGraph(knots_x, knots_y, _conjugate_gradients(times, np.asarray(right), diagonal, first))


def _conjugate_gradients(
    times: Callable[[FloatArray], FloatArray], right: FloatArray, diagonal: FloatArray, x: FloatArray
) -> FloatArray:
    """Solve times(x) = right from a first x, preconditioned by the diagonal; no BLAS, whose threads would only wait."""
    x = x.copy()
    rest = right - times(x)
    small = RESIDUAL**2 * float(np.sum(right * right))
    near = rest / diagonal
    way, size = near, float(np.sum(rest * near))
    for _ in range(STEPS):
        if float(np.sum(rest * rest)) <= small:
            break
        push = times(way)
        step = size / float(np.sum(way * push))
        x += step * way
        rest -= step * push
        near = rest / diagonal
        last, size = size, float(np.sum(rest * near))
        way = near + (size / last) * way
    return x


def _poles_of(graph: SplineGraph, knots_x: FloatArray, knots_y: FloatArray) -> FloatArray:
    """Poles on other knots that meet a graph at the Greville points."""
    from scipy.interpolate import make_interp_spline

    x0, y0, x1, y1 = graph.box_mm
    x, y = np.clip(greville(knots_x), x0, x1), np.clip(greville(knots_y), y0, y1)
    values = graph.on_grid(x, y)  # (ny, nx)
    along_y = make_interp_spline(y, values, t=knots_y, k=DEGREE).c
    return np.asarray(make_interp_spline(x, along_y.T, t=knots_x, k=DEGREE).c)


def _normal(bx, by, weights: FloatArray) -> Diagonals:  # type: ignore[no-untyped-def]
    """Diagonals (a, b) -> (nx, ny) of the sum of w B B': pole (i, j) with (i + a, j + b), for b > 0 or b = 0 <= a."""
    out: Diagonals = {}
    for b in range(DEGREE + 1):
        rows = (_products(by, b).T @ weights).T  # (columns, ny - b)
        for a in range(-DEGREE if b else 0, DEGREE + 1):
            block = np.zeros((bx.shape[1], by.shape[1]))
            part = np.asarray(_products(bx, abs(a)).T @ rows)
            first = max(-a, 0)
            block[first : first + part.shape[0], : part.shape[1]] = part
            out[a, b] = block
    return out


def _products(basis, k: int):  # type: ignore[no-untyped-def]
    """Each basis function times the one k further on: (points, n - k)."""
    n = basis.shape[1]
    return basis[:, : n - k].multiply(basis[:, k:]).tocsr()


def _product(matrix: Diagonals, p: FloatArray) -> FloatArray:
    """The symmetric matrix times poles (nx, ny)."""
    nx, ny = p.shape
    out = matrix[0, 0] * p
    for (a, b), block in matrix.items():
        if a == b == 0:
            continue
        here = (slice(max(-a, 0), nx - max(a, 0)), slice(0, ny - b))
        there = (slice(max(a, 0), nx - max(-a, 0)), slice(b, ny))
        out[here] += block[here] * p[there]
        out[there] += block[here] * p[here]
    return out


def _bent_twice(p: FloatArray) -> FloatArray:
    """Gradient of half the sum of squared second differences of poles along both axes."""
    out = np.zeros_like(p)
    d = p[:-2] - 2 * p[1:-1] + p[2:]
    out[:-2] += d
    out[1:-1] -= 2 * d
    out[2:] += d
    d = p[:, :-2] - 2 * p[:, 1:-1] + p[:, 2:]
    out[:, :-2] += d
    out[:, 1:-1] -= 2 * d
    out[:, 2:] += d
    return out


def _bent_diagonal(shape: tuple[int, int]) -> FloatArray:
    """Diagonal of the same."""
    out = np.zeros(shape)
    out[:-2] += 1
    out[1:-1] += 4
    out[2:] += 1
    out[:, :-2] += 1
    out[:, 1:-1] += 4
    out[:, 2:] += 1
    return out
