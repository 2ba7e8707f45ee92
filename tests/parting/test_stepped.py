"""The stepped parting: on known silhouettes, within its slope, flat under bolts, never dearer than the plane."""

from __future__ import annotations

import numpy as np
import parting_shapes as shapes
import pytest
import trimesh

from shellgen.envelope.raster import Grid
from shellgen.parting import cost
from shellgen.parting.columns import EMPTY, columns_along
from shellgen.parting.offset_body import offset_body
from shellgen.parting.stepped import steepest_deg, step_along, stepped_surface

UP = np.array([0.0, 0.0, 1.0])


def tilted_lens() -> tuple[trimesh.Trimesh, float]:
    """An ellipsoid 50, 50, 6 turned 25 degrees about y, and the slope of its silhouette, z = slope · x."""
    lens = shapes.sphere(1.0)
    lens.apply_scale((50, 50, 6))
    turn = trimesh.transformations.rotation_matrix(np.radians(25), (0, 1, 0))[:3, :3]
    form = turn @ np.diag([50.0**-2, 50.0**-2, 6.0**-2]) @ turn.T
    return shapes.turned(lens, 25, (0, 1, 0)), float(-form[2, 0] / form[2, 2])  # (form · p) has no z on the silhouette


def saddle_ring(middle: float = 60.0, tube: float = 8.0, rise: float = 12.0) -> trimesh.Trimesh:
    """A torus whose circle climbs and falls twice: z += rise · cos 2φ."""
    ring = shapes.torus(middle, tube)
    ring.vertices[:, 2] += rise * np.cos(2 * np.arctan2(ring.vertices[:, 1], ring.vertices[:, 0]))
    return ring


def rim(columns) -> np.ndarray:
    """Columns of the shadow that have a neighbour outside it."""
    shadow = np.pad(columns.upper_mm > -EMPTY, 1)
    inner = shadow[1:-1, 1:-1]
    return inner & ~(shadow[:-2, 1:-1] & shadow[2:, 1:-1] & shadow[1:-1, :-2] & shadow[1:-1, 2:])


def plan(columns) -> tuple[np.ndarray, np.ndarray]:
    """Mold x and y of every node (the pull is the mold's z)."""
    x, y = np.meshgrid(columns.grid.x_mm, columns.grid.y_mm)
    return columns.axes[0, 0] * x + columns.axes[1, 0] * y, columns.axes[0, 1] * x + columns.axes[1, 1] * y


def test_tilted_lens_is_parted_on_its_silhouette():
    lens, slope = tilted_lens()
    columns = columns_along(shapes.as_body(lens), UP, nodes_along=200)
    step = step_along(columns, level_mm=0.0, smooth_mm=0.0)
    x, _ = plan(columns)
    edge = rim(columns)
    thickness = (columns.upper_mm - columns.lower_mm)[edge]
    off = np.abs(step.heights_mm[edge] - slope * x[edge])
    assert (off <= thickness / 2 + 0.35).all()  # between L and U, whose middle is the silhouette
    assert np.median(off) < 1.0 < 10 < np.median(np.abs(slope * x[edge]))
    assert step.fill_mm3 < 0.01 * step.plane_fill_mm3
    assert step.stepped


def test_saddle_ring_is_parted_on_its_climbing_circle():
    columns = columns_along(shapes.as_body(saddle_ring()), UP, nodes_along=200)
    step = step_along(columns, level_mm=0.0, smooth_mm=0.0)
    x, y = plan(columns)
    edge = rim(columns)
    silhouette = 12 * np.cos(2 * np.arctan2(y, x))[edge]
    off = np.abs(step.heights_mm[edge] - silhouette)
    assert (off <= (columns.upper_mm - columns.lower_mm)[edge] / 2 + 0.7).all()
    assert np.median(off) < 2.5 < 7 < np.median(np.abs(silhouette))
    assert step.fill_mm3 < 0.05 * step.plane_fill_mm3


def test_forked_shape_saves_most_of_what_following_saves():
    bars = [
        ((0, 0, 0), (80, 5, 0)),
        ((80, 5, 0), (150, 40, 35)),
        ((80, 5, 0), (150, -40, -35)),
        ((80, 5, 0), (170, 0, 12)),
    ]
    fork = trimesh.util.concatenate(
        [trimesh.creation.capsule(0.1, 5)] + [trimesh.creation.cylinder(5, segment=b) for b in bars]
    )
    body = offset_body(*shapes.as_arrays(fork), thickness_mm=6)
    columns = columns_along(body, UP, nodes_along=160)
    best = cost.best_offset(columns)
    step = step_along(columns, level_mm=best.offset_mm)
    can_save = step.plane_fill_mm3 - cost.free_fill_mm3(columns)
    assert step.plane_fill_mm3 - step.fill_mm3 >= 0.8 * can_save
    assert step.fill_mm3 == pytest.approx(cost.fill_mm3(columns, step.heights_mm))
    assert step.steepest_deg < 50


def test_convex_body_keeps_its_plane_where_stepping_gains_nothing():
    columns = columns_along(shapes.as_body(shapes.sphere(30)), UP)
    step = step_along(columns, level_mm=0.0)
    assert not step.stepped and step.fill_mm3 == step.plane_fill_mm3
    assert (step.heights_mm == 0).all()


def test_never_dearer_than_the_plane_on_random_sections():
    rng = np.random.default_rng(5)
    grid = Grid(0.0, 0.0, 1.0, 3, 80)
    for _ in range(60):
        middle = np.cumsum(rng.normal(0, 3, 80))
        half = rng.uniform(1, 8, 80)
        lower, upper = np.tile(middle - half, (3, 1)), np.tile(middle + half, (3, 1))
        level = float(np.median(np.concatenate([lower[0], upper[0]])))
        heights = stepped_surface(lower, upper, grid, level_mm=level, slope=1.0, smooth_mm=0.0)

        fills = [(np.maximum(0, upper - p) + np.maximum(0, p - lower)).sum() for p in (heights, level)]
        assert fills[0] <= fills[1] + 1e-6
        assert np.abs(np.diff(heights, axis=1)).max() <= 1.0 + 1e-6


def test_falls_back_to_the_plane_outside_the_shadow():
    lens, _ = tilted_lens()
    columns = columns_along(shapes.as_body(lens), UP, draft_deg=3, nodes_along=120)
    wide = Grid(columns.grid.x0_mm - 60, columns.grid.y0_mm - 60, columns.grid.pitch_mm, 320, 320)
    lower, upper = np.full((320, 320), EMPTY), np.full((320, 320), -EMPTY)
    shift = round(60 / columns.grid.pitch_mm)
    lower[shift : shift + columns.grid.rows, shift : shift + columns.grid.columns] = columns.lower_mm
    upper[shift : shift + columns.grid.rows, shift : shift + columns.grid.columns] = columns.upper_mm
    heights = stepped_surface(lower, upper, wide, level_mm=0.0)
    assert np.abs(heights[:4]).max() < 1e-9 and np.abs(heights[-4:]).max() < 1e-9
    assert np.abs(heights).max() > 15


def test_a_collar_stands_level_from_the_rim_and_then_falls_back():
    """Straight out from the end of a tilted bar the surface keeps the end's height over the collar, then returns."""
    x = np.linspace(-100, 100, 201)
    grid = Grid(-100.0, -100.0, 1.0, 201, 201)
    slope = np.tan(np.radians(20))
    inside = (np.abs(x[None, :]) <= 40) & (np.abs(x[:, None]) <= 6)
    middle = np.tile(x * slope, (201, 1))
    lower, upper = np.where(inside, middle - 3, EMPTY), np.where(inside, middle + 3, -EMPTY)
    plain, carried = (
        stepped_surface(lower, upper, grid, level_mm=0.0, smooth_mm=0.0, collar_mm=c) for c in (0.0, 10.0)
    )
    assert (carried[inside] == plain[inside]).all()  # over the shadow nothing changes
    beside = carried[100, 141:150]  # straight out from the end at x = 40
    assert np.ptp(beside) < 1e-9 and beside[0] == plain[100, 140] > 10.0
    assert np.ptp(plain[100, 141:150]) > 5.0
    assert np.abs(carried[:, :30]).max() < 1e-9 and np.abs(carried[:, 170:]).max() < 1e-9
    assert steepest_deg(carried, grid) < 48.0  # where cones of two places meet, a raster step is cut


def test_terraces_are_flat_and_the_way_to_them_is_not_too_steep():
    lens, _ = tilted_lens()
    columns = columns_along(shapes.as_body(lens), UP, nodes_along=240)
    grid = columns.grid
    seats = [(52.0 * np.cos(a), 52.0 * np.sin(a), 9.5) for a in np.arange(0, 2 * np.pi, 2 * np.pi / 6)]
    heights = stepped_surface(columns.lower_mm, columns.upper_mm, grid, level_mm=0.0, seats=seats)
    for x, y, radius in seats:
        disc = np.hypot(grid.x_mm[None] - x, grid.y_mm[:, None] - y) < radius - grid.pitch_mm
        assert disc.sum() > 50 and np.ptp(heights[disc]) < 1e-9
    assert steepest_deg(heights, grid) < 60


def test_slope_limit_is_kept():
    lens, _ = tilted_lens()
    columns = columns_along(shapes.as_body(shapes.turned(lens, 35, (0, 1, 0))), UP, nodes_along=160)
    for limit in (20.0, 35.0):
        heights = stepped_surface(
            columns.lower_mm, columns.upper_mm, columns.grid, level_mm=0.0, slope=float(np.tan(np.radians(limit)))
        )
        assert steepest_deg(heights, columns.grid) < limit + 1
        assert np.abs(heights).max() > 5
