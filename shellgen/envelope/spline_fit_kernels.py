"""Compiled loops of the least squares: the normal matrix times poles, banded factors along both axes."""

from __future__ import annotations

from numba import njit

# of the symmetric matrix: pole (i, j) with (i + a, j + b), for b > 0 or b = 0 <= a
BANDS = (
    *((0, 0), (1, 0), (2, 0), (3, 0)),
    *((-3, 1), (-2, 1), (-1, 1), (0, 1), (1, 1), (2, 1), (3, 1)),
    *((-3, 2), (-2, 2), (-1, 2), (0, 2), (1, 2), (2, 2), (3, 2)),
    *((-3, 3), (-2, 3), (-1, 3), (0, 3), (1, 3), (2, 3), (3, 3)),
)


@njit(cache=True, nogil=True)
def normal_times(matrix, stiffness, p, out):  # type: ignore[no-untyped-def]
    """Matrix (bands, nx, ny) times p (nx, ny), and stiffness times second differences twice, into out."""
    nx, ny = p.shape
    out[:] = matrix[0] * p
    for k in range(1, 25):
        if k < 4:
            a, b = k, 0
        else:
            a, b = (k - 4) % 7 - 3, (k - 4) // 7 + 1
        for i in range(max(-a, 0), nx - max(a, 0)):
            for j in range(ny - b):
                m = matrix[k, i, j]
                out[i, j] += m * p[i + a, j + b]
                out[i + a, j + b] += m * p[i, j]
    for i in range(nx):
        for j in range(ny):
            if i > 0 and i < nx - 1:
                d = stiffness * (p[i - 1, j] - 2 * p[i, j] + p[i + 1, j])
                out[i - 1, j] += d
                out[i, j] -= 2 * d
                out[i + 1, j] += d
            if j > 0 and j < ny - 1:
                d = stiffness * (p[i, j - 1] - 2 * p[i, j] + p[i, j + 1])
                out[i, j - 1] += d
                out[i, j] -= 2 * d
                out[i, j + 1] += d


@njit(cache=True, nogil=True)
def cholesky_banded(bands):  # type: ignore[no-untyped-def]
    """Lower factor in place: bands (n, 4), [i, k] at row i + k of column i."""
    n = bands.shape[0]
    for i in range(n):
        d = bands[i, 0] ** 0.5
        for k in range(4):
            bands[i, k] /= d
        for a in range(1, min(4, n - i)):
            for b in range(a, min(4, n - i)):
                bands[i + a, b - a] -= bands[i, a] * bands[i, b]


@njit(cache=True, nogil=True)
def solve_banded(along_x, along_y, p):  # type: ignore[no-untyped-def]
    """Undo both factors and their transposes on p (nx, ny), in place."""
    nx, ny = p.shape
    for i in range(nx):
        for k in range(1, min(4, i + 1)):
            f = along_x[i - k, k]
            for j in range(ny):
                p[i, j] -= f * p[i - k, j]
        f = 1.0 / along_x[i, 0]
        for j in range(ny):
            p[i, j] *= f
    for i in range(nx - 1, -1, -1):
        for k in range(1, min(4, nx - i)):
            f = along_x[i, k]
            for j in range(ny):
                p[i, j] -= f * p[i + k, j]
        f = 1.0 / along_x[i, 0]
        for j in range(ny):
            p[i, j] *= f
    for i in range(nx):
        for j in range(ny):
            s = p[i, j]
            for k in range(1, min(4, j + 1)):
                s -= along_y[j - k, k] * p[i, j - k]
            p[i, j] = s / along_y[j, 0]
        for j in range(ny - 1, -1, -1):
            s = p[i, j]
            for k in range(1, min(4, ny - j)):
                s -= along_y[j, k] * p[i, j + k]
            p[i, j] = s / along_y[j, 0]
