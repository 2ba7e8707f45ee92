"""Rooms of two pieces on their common plane: the points that bring one up to the other, against plane geometry."""

import numpy as np
import shapely
import trimesh

from shellgen.checks.rays import Rays
from shellgen.envelope.facets import facets
from shellgen.mold.met_rooms import STEP_MM, core_points, with_cores

GROWN_MM = 9.0


def grown(points):
    return shapely.MultiPoint(points).buffer(GROWN_MM)


def test_a_lobe_of_the_neighbours_room_is_filled_and_not_overrun():
    """Both discs of 30 mm, the neighbour's with a lobe of 20 mm beside it that the piece lacks."""
    own = shapely.Point(0, 0).buffer(30.0, quad_segs=64)
    theirs = own.union(shapely.Point(28, 0).buffer(20.0, quad_segs=64))
    points = core_points(own, theirs, GROWN_MM)
    room = own.union(grown(points))
    assert theirs.difference(own).area > 400.0
    # what stays open: the corners between disc and lobe, and the waves between balls STEP_MM apart
    wave = GROWN_MM - np.sqrt(GROWN_MM**2 - (STEP_MM / 2) ** 2)
    left = theirs.difference(room).buffer(-0.1 - wave - 0.05)
    assert left.area < 1.0
    assert room.difference(theirs).area < 1e-9


def test_rooms_that_agree_or_nearly_so_need_no_points():
    disc = shapely.Point(0, 0).buffer(30.0, quad_segs=64)
    assert not len(core_points(disc, disc, GROWN_MM))
    assert not len(core_points(disc, disc.buffer(0.3), GROWN_MM))  # a seam's width
    assert not len(core_points(disc.buffer(10.0), disc, GROWN_MM))  # more room than the neighbour's is its own affair


def test_a_mesh_without_points_stays_as_it_is():
    box = trimesh.creation.box((10.0, 10.0, 10.0))
    bare = facets(np.asarray(box.vertices), np.asarray(box.faces, np.int32), 5.0)
    more = with_cores(bare, [np.array([[20.0, 0.0, 0.0]]), np.array([[0.0, 20.0, 0.0], [0.0, 0.0, 20.0]])])
    assert len(more.points) == len(bare.points) + 3
    assert len(with_cores(bare, []).points) == len(bare.points)


def test_distance_to_a_large_face_is_exact():
    """Of points over the middle of a box's face, far from every corner, and beside an edge: by hand."""
    box = trimesh.creation.box((100.0, 100.0, 100.0))
    rays = Rays.of(np.asarray(box.vertices), np.asarray(box.faces, np.int32))
    points = np.array([[3.0, 7.0, 50.0], [3.0, 7.0, 50.4], [3.0, 7.0, 45.0], [53.0, 54.0, 0.0]])
    assert np.allclose(rays.distance(points), [0.0, 0.4, 5.0, 5.0], atol=1e-9)
