"""Fill of parting planes against closed forms: sphere, cylinder, torus, tilted plate, drafted cylinder."""

from __future__ import annotations

import numpy as np
import parting_shapes as shapes
import pytest
import trimesh

from shellgen.parting import cost
from shellgen.parting.columns import columns_along, cone_envelope
from shellgen.parting.crevices import with_crevices_filled
from shellgen.parting.offset_body import offset_body

SLANTED = np.array([0.3, -0.5, 0.8])


@pytest.mark.parametrize("offset", [0.0, 6.0, 15.0, -24.0])
def test_sphere_parted_off_centre(offset):  # F = π c³ / 3, whatever the pull
    columns = columns_along(shapes.as_body(shapes.sphere(30)), SLANTED, nodes_along=200)
    assert cost.fill_mm3(columns, offset) == pytest.approx(np.pi * abs(offset) ** 3 / 3, rel=0.01, abs=2)


def test_sphere_through_the_centre_costs_nothing_and_is_found():
    columns = columns_along(shapes.as_body(shapes.sphere(30)), SLANTED)
    best = cost.best_offset(columns)
    assert best.offset_mm == pytest.approx(0, abs=0.1)
    assert best.fill_mm3 == pytest.approx(0, abs=1)
    assert best.interval_mm[0] < 0 < best.interval_mm[1]


def test_curve_is_the_fill_at_every_offset():
    columns = columns_along(shapes.as_body(shapes.torus()), SLANTED, draft_deg=3)
    curve = cost.fill_curve(columns)
    for offset in np.linspace(*cost.span_mm(columns), 9):
        assert curve.at(offset) == pytest.approx(cost.fill_mm3(columns, offset), rel=1e-6, abs=1)
    slopes = np.diff(curve.fill_mm3) / np.maximum(np.diff(curve.offset_mm), 1e-12)
    wide = np.diff(curve.offset_mm) > 1e-6
    assert (np.diff(slopes[wide]) > -1e-3).all()  # convex


def test_cylinder_across_its_axis():  # 2L [c(R − a) − R²/2 asin(c/R) + ca/2], a = √(R² − c²)
    radius, length, c = 30.0, 80.0, 12.0
    columns = columns_along(shapes.as_body(shapes.cylinder(radius, length)), np.array([1.0, 0, 0]), nodes_along=200)
    a = np.sqrt(radius**2 - c**2)
    expected = 2 * length * (c * (radius - a) - radius**2 / 2 * np.arcsin(c / radius) + c * a / 2)
    assert cost.fill_mm3(columns, c) == pytest.approx(expected, rel=0.015)


def test_torus_along_its_axis_parts_for_nothing_round_two_circles():
    columns = columns_along(shapes.as_body(shapes.torus(40, 10)), np.array([0, 0, 1.0]))
    assert cost.best_offset(columns).fill_mm3 == pytest.approx(0, abs=5)
    length = cost.flange_length_mm(columns, on_board=False)
    assert length == pytest.approx(4 * np.pi * 40, rel=0.01)


def test_torus_edge_on_pays_for_its_hole():  # G = π (2 r R² − π R r² + 4 r³/3)
    columns = columns_along(shapes.as_body(shapes.torus(40, 10)), np.array([1.0, 0, 0]), nodes_along=160)
    expected = np.pi * (2 * 10 * 40**2 - np.pi * 40 * 10**2 + 4 * 10**3 / 3)
    assert cost.free_fill_mm3(columns) == pytest.approx(expected, rel=0.005)
    assert cost.best_offset(columns).fill_mm3 >= cost.free_fill_mm3(columns) - 1


def test_tilted_plate():  # W (L/2 − t/(2 tan θ))² sin θ cos θ, the plane through the middle
    length, width, thick, tilt = 120.0, 60.0, 6.0, np.radians(20)
    plate = shapes.turned(trimesh.creation.box((length, width, thick)), 20, (0, 1, 0))
    columns = columns_along(shapes.as_body(plate), np.array([0, 0, 1.0]), nodes_along=240)
    expected = width * (length / 2 - thick / (2 * np.tan(tilt))) ** 2 * np.sin(tilt) * np.cos(tilt)
    assert cost.fill_mm3(columns, 0.0) == pytest.approx(expected, rel=0.015)


def test_convex_bodies_have_no_free_fill():
    box = shapes.turned(trimesh.creation.box((60, 40, 20)), 33, (1, 2, 3))
    assert cost.free_fill_mm3(columns_along(shapes.as_body(box), SLANTED)) == pytest.approx(0, abs=1e-6)


def test_drafted_cylinder_flares():  # two cone frusta, R at the ends and R + H tan(a) at the plane, less the cylinder
    radius, half, t = 30.0, 40.0, np.tan(np.radians(5))
    columns = columns_along(
        shapes.as_body(shapes.cylinder(radius, 2 * half)), np.array([0, 0, 1.0]), draft_deg=5, nodes_along=240
    )
    wide = radius + half * t
    expected = 2 * (np.pi * half / 3 * (wide**2 + wide * radius + radius**2) - np.pi * radius**2 * half)
    assert cost.fill_mm3(columns, 0.0) == pytest.approx(expected, rel=0.03)


def test_board_cuts_what_lies_below():  # half a sphere of R 30 above z = 0: 2/3 π R³; half its outline
    body = shapes.as_body(shapes.sphere(30))
    columns = columns_along(body, np.array([0, 1.0, 0]), on_board=True, nodes_along=200)
    assert columns.volume_mm3 == pytest.approx(2 / 3 * np.pi * 30**3, rel=2e-3)
    assert cost.flange_length_mm(columns, on_board=True) == pytest.approx(np.pi * 30, rel=0.02)
    assert cost.fill_mm3(columns, 12.0) == pytest.approx(np.pi * 12**3 / 6, rel=0.02)


def test_flange_strip_and_rectangle_of_a_sphere():
    columns = columns_along(shapes.as_body(shapes.sphere(30)), SLANTED, nodes_along=200)
    strip = np.pi * (50**2 - 30**2)
    assert cost.flange_area_mm2(columns, 20, on_board=False) == pytest.approx(strip, rel=0.01)
    assert cost.projected_mm(columns, 20, on_board=False) == pytest.approx((100, 100), abs=0.7)
    assert cost.draw_mm(columns, 10) == pytest.approx(40, abs=0.2)
    assert cost.balance(columns, 0.0) == pytest.approx(1, abs=1e-3)


def test_closed_body_has_no_odd_columns():
    body = offset_body(*shapes.as_arrays(shapes.elbow()), thickness_mm=6)
    assert columns_along(body, SLANTED).odd_columns == 0


def test_forbidden_offsets_are_kept_out_of():
    columns = columns_along(shapes.as_body(shapes.sphere(30)), SLANTED)
    best = cost.best_offset(columns, forbidden_mm=((-5.0, 9.0),))
    assert best.clear and best.offset_mm == pytest.approx(-5, abs=0.4)
    assert not cost.best_offset(columns, forbidden_mm=((-99.0, 99.0),)).clear


def test_cone_envelope_is_the_upper_envelope_of_cones():  # against all pairs
    rng = np.random.default_rng(1)
    heights = np.full((40, 50), -1e9)
    heights[10:20, 12:30] = rng.uniform(0, 60, (10, 18))
    i, j = np.mgrid[:40, :50]
    for slope in (1.0, 19.0):
        exact = heights.copy()
        for a, b in zip(*np.nonzero(heights > -1e8), strict=True):
            exact = np.maximum(exact, heights[a, b] - slope * np.hypot(i - a, j - b))
        assert np.abs(cone_envelope(heights, slope) - exact).max() < 0.02 * slope


def test_crevice_fills_up_to_the_ball():  # square groove 6 wide, 20 deep: a ball of 5 hangs 5 − 4 = 1 into it
    groove = trimesh.boolean.difference(
        [
            trimesh.creation.box((80, 80, 40)),
            trimesh.creation.box((6, 90, 20), trimesh.transformations.translation_matrix((0, 0, 10))),
        ]
    )
    plain = columns_along(shapes.as_body(groove), np.array([0, 0, 1.0]), draft_deg=0.001, nodes_along=400)
    closed = with_crevices_filled(plain, 5.0)
    x = closed.axes[0, 0] * closed.grid.x_mm[None] + closed.axes[1, 0] * closed.grid.y_mm[:, None]
    y = closed.axes[0, 1] * closed.grid.x_mm[None] + closed.axes[1, 1] * closed.grid.y_mm[:, None]
    middle = (np.abs(x) < 0.15) & (np.abs(y) < 30)
    between = (np.abs(x) > 10) & (np.abs(x) < 30) & (np.abs(y) < 30)
    assert np.median(closed.drafted_upper_mm[middle]) == pytest.approx(19, abs=0.15)
    assert np.abs(closed.drafted_upper_mm - plain.drafted_upper_mm)[between].max() < 0.1
    assert with_crevices_filled(plain, 0.1) is plain


def test_wide_groove_keeps_its_floor():
    step = trimesh.boolean.difference(
        [
            trimesh.creation.box((80, 80, 40)),
            trimesh.creation.box((30, 90, 20), trimesh.transformations.translation_matrix((0, 0, 10))),
        ]
    )
    plain = columns_along(shapes.as_body(step), np.array([0, 0, 1.0]), draft_deg=1, nodes_along=200)
    closed = with_crevices_filled(plain, 5.0)
    x = closed.axes[0, 0] * closed.grid.x_mm[None] + closed.axes[1, 0] * closed.grid.y_mm[:, None]
    y = closed.axes[0, 1] * closed.grid.x_mm[None] + closed.axes[1, 1] * closed.grid.y_mm[:, None]
    floor = (np.abs(x) < 8) & (np.abs(y) < 30)
    assert np.abs(closed.drafted_upper_mm[floor]).max() < 0.01


@pytest.mark.parametrize(("radius_mm", "thick_mm"), [(60.0, 8.0), (400.0, 12.0), (400.0, 4.0), (1000.0, 10.0)])
def test_plain_rubber_is_the_spherical_shell_however_thin(radius_mm, thick_mm):
    """4/3 pi ((R + t)^3 - R^3), Steiner: voxels coarser than the rubber must not make it thicker."""
    from types import SimpleNamespace

    from shellgen.job.model import Settings
    from shellgen.mold.drape import spec_of
    from shellgen.mold.fill import plain_mm3

    ball = trimesh.creation.icosphere(subdivisions=6, radius=radius_mm)
    skin = SimpleNamespace(vertices_mm=np.array(ball.vertices), faces=np.array(ball.faces, np.int32))
    skin.volume_mm3 = float(ball.volume)
    settings = Settings.model_validate(
        {"name": "a", "pattern": {"file": "a.stl"}, "jacket": {"thickness_mm": thick_mm, "clearance_mm": 0.0}}
    )
    shell = plain_mm3(settings, SimpleNamespace(skin=skin, mount="none")) - skin.volume_mm3
    grown_mm = radius_mm + spec_of(settings, "A").jacket_mm  # as asked, and what a raster sets it out by
    exact = 4 / 3 * np.pi * (grown_mm**3 - radius_mm**3)
    assert shell == pytest.approx(exact, rel=0.015)
