"""Weighted least squares of a bicubic graph on a raster: normal equations by diagonals, conjugate gradients."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import DEGREE, SplineGraph, greville
from shellgen.envelope.spline_fit_kernels import BANDS, cholesky_banded, normal_times, solve_banded

STIFFNESS = 1e-7  # weight of second pole differences beside that of a raster node: fills what no node reaches
STEPS = 300
RESIDUAL = 1e-6


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
    right = np.ascontiguousarray(bx.T @ (by.T @ (weights * heights_mm)).T)
    near = _nearby(bx, by, matrix[0] + STIFFNESS * _bent_diagonal(shape))
    first = np.zeros(shape) if start is None else _poles_of(start, knots_x, knots_y)
    return SplineGraph(knots_x, knots_y, _conjugate_gradients(matrix, right, near, first))


@dataclass(frozen=True, slots=True)
class Nearby:
    """What nearly undoes the matrix: the same splines on even weights, a product of two axes, scaled by its diagonal.

    scale : (nx, ny); along_x, along_y : banded Cholesky factors, (nx, 4) and (ny, 4).
    """

    scale: FloatArray
    along_x: FloatArray
    along_y: FloatArray

    def undo(self, p: FloatArray) -> FloatArray:
        """Poles (nx, ny) that this matrix would take to p."""
        out = self.scale * p
        solve_banded(self.along_x, self.along_y, out)
        out *= self.scale
        return out


def _nearby(bx, by, diagonal: FloatArray) -> Nearby:  # type: ignore[no-untyped-def]
    factors, sizes = [], []
    for basis in (bx, by):
        n = basis.shape[1]
        bands = np.zeros((n, DEGREE + 1))
        for k in range(DEGREE + 1):
            bands[: n - k, k] = np.asarray(_products(basis, k).sum(axis=0)).ravel()
        bands[:, 0] += STIFFNESS + 1e-3 * bands[:, 0].max()  # a pole that no node reaches
        sizes.append(bands[:, 0].copy())
        cholesky_banded(bands)
        factors.append(bands)
    return Nearby(np.sqrt(sizes[0][:, None] * sizes[1][None, :] / diagonal), factors[0], factors[1])


def _conjugate_gradients(matrix: FloatArray, right: FloatArray, near: Nearby, x: FloatArray) -> FloatArray:
    """Solve matrix x = right from a first x; no BLAS, whose threads would only wait."""
    x = np.ascontiguousarray(x)
    push = np.empty_like(x)
    normal_times(matrix, STIFFNESS, x, push)
    rest = right - push
    small = RESIDUAL**2 * float(np.sum(right * right))
    way = near.undo(rest)
    size = float(np.sum(rest * way))
    for _ in range(STEPS):
        if float(np.sum(rest * rest)) <= small:
            break
        normal_times(matrix, STIFFNESS, way, push)
        step = size / float(np.sum(way * push))
        x += step * way
        rest -= step * push
        better = near.undo(rest)
        last, size = size, float(np.sum(rest * better))
        way *= size / last
        way += better
    return x


def _poles_of(graph: SplineGraph, knots_x: FloatArray, knots_y: FloatArray) -> FloatArray:
    """Poles on other knots that meet a graph at the Greville points."""
    from scipy.interpolate import make_interp_spline

    x0, y0, x1, y1 = graph.box_mm
    x, y = np.clip(greville(knots_x), x0, x1), np.clip(greville(knots_y), y0, y1)
    values = graph.on_grid(x, y)  # (ny, nx)
    along_y = make_interp_spline(y, values, t=knots_y, k=DEGREE).c
    return np.asarray(make_interp_spline(x, along_y.T, t=knots_x, k=DEGREE).c)


def _normal(bx, by, weights: FloatArray) -> FloatArray:  # type: ignore[no-untyped-def]
    """Sum of w B B', (bands, nx, ny): the band of (a, b) holds pole (i, j) with (i + a, j + b)."""
    out = np.zeros((len(BANDS), bx.shape[1], by.shape[1]))
    rows = [np.asarray((_products(by, b).T @ weights).T) for b in range(DEGREE + 1)]  # (columns, ny - b)
    along = [_products(bx, a).T.tocsr() for a in range(DEGREE + 1)]
    for k, (a, b) in enumerate(BANDS):
        part = np.asarray(along[abs(a)] @ rows[b])
        first = max(-a, 0)
        out[k, first : first + part.shape[0], : part.shape[1]] = part
    return out


def _products(basis, k: int):  # type: ignore[no-untyped-def]
    """Each basis function times the one k further on: (points, n - k)."""
    n = basis.shape[1]
    return basis[:, : n - k].multiply(basis[:, k:]).tocsr()


def _bent_diagonal(shape: tuple[int, int]) -> FloatArray:
    """Diagonal of the matrix of half the sum of squared second differences of poles along both axes."""
    out = np.zeros(shape)
    out[:-2] += 1
    out[1:-1] += 4
    out[2:] += 1
    out[:, :-2] += 1
    out[:, 1:-1] += 4
    out[:, 2:] += 1
    return out
