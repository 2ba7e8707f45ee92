"""Radial pieces as STEP: true planes as mating faces, plates of the flange's thickness, skins that are balls."""

import numpy as np
import pytest

from shellgen.checks.step_reread import moved_back, read_solids
from shellgen.checks.step_surfaces import mating_area_mm2, mating_planes, skins_of
from shellgen.mold.drape import spec_of
from shellgen.solid.brep import occ
from shellgen.solid.brep.graph import PlaneGraph
from shellgen.solid.brep.planes_graph import PlanesGraph
from shellgen.solid.recipe import inverse, transform
from tests.step.conftest import BALL_MM


def read_piece(build, name):
    (solid,) = read_solids(build.folder / build.files.paths[name])
    return moved_back(solid, build.piece(name).pull_to_mold)


def plane_offsets(solid, normal):
    """Distances from the origin, along a normal, of the plane faces that are square to it."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane

    out = []
    for face in occ.explored(solid, "face"):
        surface = BRepAdaptor_Surface(face)
        if surface.GetType() == GeomAbs_Plane:
            d, p = surface.Plane().Axis().Direction(), surface.Plane().Location()
            if abs(abs(np.array([d.X(), d.Y(), d.Z()]) @ normal) - 1) < 1e-9:
                out.append(float(np.array([p.X(), p.Y(), p.Z()]) @ normal))
    return out


@pytest.mark.parametrize("name", ["wedges", "quarters"])
def test_both_flanges_are_plates_between_planes(name, request):
    build = request.getfixturevalue(name)
    for piece in build.mold.design.pieces:
        solid = read_piece(build, piece.name)
        normals = [normal for normal, _ in mating_planes(piece.parting)]
        assert len(normals) == 2
        half = np.pi / len(build.mold.design.pieces)
        assert normals[0] == pytest.approx([-np.cos(half), 0.0, np.sin(half)])
        for normal in normals:
            assert mating_area_mm2(solid, normal) > 100.0
            offsets = np.array(plane_offsets(solid, normal))
            assert np.abs(offsets - piece.outline.thickness_mm).min() < 1e-9


def test_skins_of_a_wedge_are_balls(wedges):
    for name in "ABC":
        spec = spec_of(wedges.mold.design.settings, name)
        piece = wedges.piece(name)
        middle = transform(wedges.mold.design.pattern.bounds_mm, inverse(piece.pull_to_mold)).mean(axis=0)
        inside, outside = skins_of(read_piece(wedges, name))
        for (graph,), grown in ((inside, spec.inside_mm), (outside, spec.outside_mm)):
            radius = BALL_MM + grown
            x, y = np.meshgrid(np.arange(-60, 60, 0.7), np.arange(-60, 60, 0.7))
            cap = (np.hypot(x, y) < 0.95 * radius) & (
                0.6 * np.abs(x) + 12 < np.sqrt(np.maximum(radius**2 - x**2 - y**2, 0))
            )
            z = graph.at(x + middle[0], y + middle[1]) - middle[2]
            off = np.sqrt(x**2 + y**2 + z**2)[cap] - radius
            assert np.quantile(np.abs(off), 0.99) < 0.15 + 0.25 * 0.6  # tolerance, and chords of a 0.6 mm raster


def test_neighbours_share_their_mating_planes(wedges):
    """The right mating face of each piece and the left one of the next lie in one plane of the mold frame."""
    pieces = wedges.mold.design.pieces
    for first, second in zip(pieces, (*pieces[1:], pieces[0]), strict=True):
        right = first.pull_to_mold[:3, :3] @ mating_planes(first.parting)[0][0]
        left = second.pull_to_mold[:3, :3] @ mating_planes(second.parting)[1][0]
        assert right == pytest.approx(-left, abs=1e-12)


def test_valley_slopes_on_each_side():
    valley = PlanesGraph((PlaneGraph(2.0, 0.5), PlaneGraph(2.0, -0.25)))
    x, y = np.array([-4.0, 0.0, 4.0]), np.zeros(3)
    assert valley.at(x, y).tolist() == [3.0, 2.0, 4.0]
    assert valley.gradient(x, y)[0].tolist() == [-0.25, 0.5, 0.5]
    crease = valley.crease(0, 1)
    assert (crease.a, crease.b, crease.c_mm) == (1.0, 0.0, 0.0)
    assert valley.top(x, y).tolist() == [1, 0, 0]
