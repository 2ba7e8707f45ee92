"""Plane sections against closed forms and against the slices of manifold3d; thicknesses read off them."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box
from simple_solids import sphere

from shellgen.sheet.measure import flange_gauge, rubber_gauges, wall_gauge
from shellgen.sheet.section import Plane, area_of, ring_area, slice_mesh

LEVEL = Plane((0.0, 0.0, 12.3), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))


def _solid() -> m3.Manifold:
    """A bored, lumpy body with a hollow inside."""
    body = m3.Manifold.sphere(50.0, 96).scale((1.2, 0.8, 1.0)) + m3.Manifold.cube((90.0, 20.0, 30.0), True)
    return (
        body
        - m3.Manifold.sphere(20.0, 64)
        - m3.Manifold.cylinder(200.0, 4.0, 4.0, 32, True).translate((35.0, 3.0, 0.0))
    )


def _arrays(solid: m3.Manifold):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3], float), np.array(mesh.tri_verts).astype(np.int32)


def test_sphere_is_cut_in_the_circle_of_pythagoras() -> None:
    rings = slice_mesh(*sphere(50.0, 5), LEVEL)
    assert len(rings) == 1
    assert ring_area(rings[0]) == pytest.approx(math.pi * (50.0**2 - 12.3**2), rel=2e-3)


@pytest.mark.parametrize("height", [-31.7, 0.13, 12.3, 44.9])
def test_area_and_number_of_rings_equal_those_of_another_slicer(height: float) -> None:
    solid = _solid()
    plane = Plane((0.0, 0.0, height), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    rings = slice_mesh(*_arrays(solid), plane)
    reference = solid.slice(height)
    assert len(rings) == reference.num_contour()
    assert sum(ring_area(ring) for ring in rings) == pytest.approx(reference.area(), rel=1e-6)
    assert area_of(rings).area == pytest.approx(reference.area(), rel=1e-6)


def test_slanted_plane_equals_the_level_cut_of_the_turned_body() -> None:
    solid = _solid()
    c, s = math.cos(0.7), math.sin(0.7)
    plane = Plane((3.0, 2.0, 5.0), (1.0, 0.0, 0.0), (0.0, c, s))
    turned = solid.translate((-3.0, -2.0, -5.0)).rotate((math.degrees(-0.7), 0.0, 0.0))
    rings = slice_mesh(*_arrays(solid), plane)
    assert sum(ring_area(ring) for ring in rings) == pytest.approx(turned.slice(0.0).area(), rel=1e-6)


def test_points_of_a_section_lie_in_the_plane_and_on_the_body() -> None:
    plane = Plane((3.0, 2.0, 5.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    ring = max(slice_mesh(*sphere(50.0, 5), plane), key=len)
    points = plane.to_mold(ring)
    assert points[:, 0] == pytest.approx(np.full(len(points), 3.0), abs=1e-9)
    assert np.linalg.norm(points, axis=1) == pytest.approx(np.full(len(points), 50.0), abs=0.1)
    assert plane.to_plane(points)[:, :2] == pytest.approx(ring, abs=1e-9)


def test_a_plane_that_misses_cuts_nothing() -> None:
    assert slice_mesh(*sphere(10.0, 2), LEVEL) == []


def test_an_open_mesh_gives_no_broken_ring() -> None:
    vertices, faces = sphere(50.0, 3)
    middles = vertices[faces].mean(1)
    opened = faces[~((np.abs(middles[:, 2] - 12.3) < 15.0) & (middles[:, 0] > 40.0))]
    assert len(opened) < len(faces)
    assert slice_mesh(vertices, opened, LEVEL) == []


def test_rubber_between_circles_off_centre_is_thin_on_one_side_and_thick_on_the_other() -> None:
    # a circle of radius 40, shifted by 3 in one of 50: 10 - 3 and 10 + 3
    pattern, rubber = Point(-3.0, 0.0).buffer(40.0, 256), Point(0.0, 0.0).buffer(50.0, 256)
    least, most = rubber_gauges(pattern, rubber.difference(pattern), None, 0.0)
    assert least.length_mm == pytest.approx(7.0, abs=0.05) and least.start[0] < -42.0
    assert most.length_mm == pytest.approx(13.0, abs=0.05) and most.start[0] > 36.0


def test_rubber_is_not_measured_where_it_ends_on_the_board() -> None:
    above = box(-100.0, 0.0, 100.0, 100.0)
    pattern = Point(0.0, 20.0).buffer(40.0, 256).intersection(above)
    rubber = Point(0.0, 20.0).buffer(48.0, 256).intersection(above).difference(pattern)
    least, most = rubber_gauges(pattern, rubber, 0.0, 10.0)
    assert least.length_mm == pytest.approx(8.0, abs=0.05) and most.length_mm == pytest.approx(8.0, abs=0.05)


def test_wall_is_measured_from_the_rubbers_side_to_the_outside() -> None:
    rubber = Point(0.0, 0.0).buffer(48.0, 256)
    shell = Point(1.0, 0.0).buffer(55.0, 256).difference(Point(0.0, 0.0).buffer(48.5, 256))
    (gauge,) = wall_gauge(shell, rubber, 0.75, None, 0.0)
    assert gauge.length_mm == pytest.approx(5.5, abs=0.1)  # 55 - 1 - 48.5 on the left
    assert gauge.start[0] < -48.0


def test_a_bore_through_the_wall_is_no_thin_wall():
    """A wall of 5 mm about rubber of 8, with a gap of half a millimetre, cut by a bore of 6 mm: 5 mm all the same."""
    rubber = Point(0, 0).buffer(38, quad_segs=90).difference(Point(0, 0).buffer(30, quad_segs=90))
    shell = Point(0, 0).buffer(43.5, quad_segs=90).difference(Point(0, 0).buffer(38.5, quad_segs=90))
    (gauge,) = wall_gauge(shell.difference(box(-3, 0, 3, 60)), rubber, 0.75, None, 0.0)
    assert gauge.length_mm == pytest.approx(5.0, abs=0.05)
    leaning = shell.difference(Polygon([(-20, 30), (-6, 30), (20, 60), (6, 60)]))  # its rims are sharp
    bored = LineString([(-13, 30), (13, 60)]).buffer(12)
    (gauge,) = wall_gauge(leaning, rubber, 0.75, None, 0.0, bored)
    assert gauge.length_mm == pytest.approx(5.0, abs=0.05)


def test_flange_is_measured_away_from_keys_and_holes() -> None:
    wall = box(0.0, 0.0, 40.0, 50.0)
    flange = (
        box(0.0, 50.0, 8.0, 74.0).union(Polygon([(0, 55), (-4, 57), (-4, 61), (0, 63)])).difference(box(-9, 66, 9, 70))
    )
    (gauge,) = flange_gauge(wall.union(flange), 0.8 * 24.0)
    assert gauge.length_mm == pytest.approx(8.0, abs=1e-6)
    assert flange_gauge(Polygon(), 5.0) == []
