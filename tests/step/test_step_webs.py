"""Gussets in STEP: curves of their planes on known surfaces, true planes in the file, what cannot be built said."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
import trimesh

from shellgen.checks.step_reread import counts, graph_on, moved_back, read_solids
from shellgen.checks.step_volume import volume_mm3
from shellgen.mold.gussets import standing_mm3
from shellgen.solid.brep import occ
from shellgen.solid.brep.piece import fault_of, piece_brep
from shellgen.solid.brep.planar_curve import through
from shellgen.solid.brep.skin_section import Section
from shellgen.solid.recipe import Prism, Role
from tests.step.conftest import BALL_MM, TILT_DEG, Build

X, Y, Z = np.eye(3)


@dataclass(frozen=True)
class Dome:
    """The upper half of a ball about the origin."""

    radius_mm: float

    def at(self, x_mm, y_mm):
        return np.sqrt(np.maximum(self.radius_mm**2 - np.square(x_mm) - np.square(y_mm), 1e-12))

    def gradient(self, x_mm, y_mm):
        z = self.at(x_mm, y_mm)
        return -np.asarray(x_mm) / z, -np.asarray(y_mm) / z

    def on_grid(self, x_mm, y_mm):
        return self.at(*np.meshgrid(x_mm, y_mm))


@pytest.mark.parametrize("off_mm", [0.0, 9.0])
def test_an_upright_plane_meets_a_ball_in_a_circle(off_mm):
    section = Section(off_mm * Y, X, Z, Dome(30.0))
    radius = np.sqrt(30.0**2 - off_mm**2)
    (line,) = section.lines((4.0, 2.0), (30.0, 27.0))
    ends = section.root(line[0], 1), section.root(line[-1], 1)
    meeting = section.followed(line, *ends)
    assert meeting.error_mm < 6e-3
    at = meeting.curve.polygon(8)
    assert np.hypot(at[:, 0], at[:, 1]) == pytest.approx(radius, abs=2e-3)
    # run clockwise: outside the ball, on the left, it lies below
    way = np.diff(at, axis=0)
    assert (way[:, 0] * at[:-1, 1] - way[:, 1] * at[:-1, 0] > 0).all()


def test_a_sloping_plane_meets_a_ball_in_a_circle():
    """Of radius sqrt(R^2 - d^2), d from the ball's middle to the plane."""
    back = np.array([np.sqrt(0.5), 0.0, -np.sqrt(0.5)])
    section = Section(34.0 * Z, Y, back, Dome(30.0))
    (line,) = section.lines((-8.0, 0.0), (8.0, 20.0))
    meeting = section.followed(line, section.root(line[0], 1), section.root(line[-1], 1))
    at = section.space(meeting.curve.polygon(8))
    normal = np.cross(Y, back)
    assert at @ normal == pytest.approx(34.0 * normal[2], abs=1e-9)
    assert np.linalg.norm(at, axis=1) == pytest.approx(30.0, abs=2e-3)


def test_a_curve_cut_at_a_stop_is_the_same_curve():
    angle = np.linspace(0.0, 2 * np.pi, 80, endpoint=False)
    whole = through(25.0 * np.column_stack([np.cos(angle), np.sin(angle)]), True)
    stop = 0.37 * float(whole.breaks[-1])
    parts = whole.parts(30, (stop,))
    ends = [float(p.knots[-1]) for p in parts]
    assert stop in ends
    assert (parts[0].poles_mm[0] == parts[-1].poles_mm[-1]).all()
    for part in parts:
        t = np.linspace(part.knots[0], part.knots[-1], 40)
        assert np.abs(part.at(t) - whole.at(t)).max() < 2e-5  # poles are rounded to 1e-5


@pytest.fixture(scope="module")
def webbed(tmp_path_factory):
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=BALL_MM)
    return Build(
        tmp_path_factory.mktemp("webbed"), mesh, jacket={"keys": False}, flange={"gussets": True}, shell={"feet": False}
    )


def gussets_of(piece):
    return [f.shape for f in piece.features if f.role is Role.GUSSET]


def planes_of(solid):
    """Outward normals and a point of all plane faces."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Plane
    from OCP.TopAbs import TopAbs_FORWARD

    out = []
    for item in occ.explored(solid, "face"):
        surface = BRepAdaptor_Surface(item)
        if surface.GetType() == GeomAbs_Plane:
            flat = surface.Plane()
            n, p = flat.Axis().Direction(), flat.Location()
            sign = 1.0 if (item.Orientation() == TopAbs_FORWARD) == flat.Direct() else -1.0
            out.append((sign * np.array([n.X(), n.Y(), n.Z()]), np.array([p.X(), p.Y(), p.Z()])))
    return out


def test_all_checks_pass_with_webs(webbed):
    assert all(f.status == "pass" for f in webbed.findings.values()), webbed.findings
    assert not any(fit.left_out for fit in webbed.files.fits.values())


def test_each_web_shows_its_two_sides_and_its_back(webbed):
    """Planes square to the way across, and one through the web's upper corner as steep as high over wide."""
    for name in "AB":
        piece = webbed.piece(name)
        (solid,) = read_solids(webbed.folder / webbed.files.paths[name])
        found = planes_of(moved_back(solid, piece.pull_to_mold))
        assert gussets_of(piece)
        for web in gussets_of(piece):
            out, up = np.array(web.x_axis), np.array(web.y_axis)
            across = np.cross(out, up)
            origin = np.array(web.origin)
            corner = origin + web.outer[3][0] * out + web.outer[3][1] * up
            (r0, h0), (r1, h1) = web.outer[3], web.outer[2]
            lean = np.array([h0 - h1, r1 - r0]) / np.hypot(h0 - h1, r1 - r0)
            wanted = [
                (-across, origin),
                (across, origin + web.length_mm * across),
                (lean[0] * out + lean[1] * up, corner),
            ]
            for normal, at in wanted:
                assert any(n @ normal > 1 - 1e-9 and abs((p - at) @ normal) < 1e-3 for n, p in found)


def test_webs_add_what_they_hold_and_no_second_skin(webbed):
    piece = webbed.piece("A")
    bare = replace(piece, features=tuple(f for f in piece.features if f.role is not Role.GUSSET))
    (with_webs, fit), (without, _) = piece_brep(piece), piece_brep(bare)
    assert not fit.left_out
    added = volume_mm3(with_webs, graph_on) - volume_mm3(without, graph_on)
    assert added == pytest.approx(standing_mm3(piece), rel=0.02)
    skins = [sum(graph_on(f) is not None for f in occ.explored(s, "face")) for s in (with_webs, without)]
    assert skins == [2, 2]
    assert counts(with_webs).genus == counts(without).genus


def test_a_web_that_cannot_be_built_is_left_out_by_name(webbed):
    """One that stands away from the wall; the others are there."""
    piece = webbed.piece("B")
    numbers = [k for k, f in enumerate(piece.features) if f.role is Role.GUSSET]
    astray = piece.features[numbers[0]]
    assert isinstance(astray.shape, Prism)
    x, y, z = astray.shape.origin
    way = np.array(astray.shape.x_axis)
    moved = tuple((np.array([x, y, z]) + 12.0 * way).tolist())
    features = list(piece.features)
    features[numbers[0]] = replace(astray, shape=replace(astray.shape, origin=moved))
    solid, fit = piece_brep(replace(piece, features=tuple(features)))
    assert [web.number for web in fit.left_out] == [numbers[0]]
    assert f"({moved[0]:.1f}, {moved[1]:.1f}, {moved[2]:.1f})" in fit.left_out[0].says
    assert fault_of(solid) is None
    whole, _ = piece_brep(piece)
    less = volume_mm3(whole, graph_on) - volume_mm3(solid, graph_on)
    assert less == pytest.approx(standing_mm3(piece, numbers[:1]), rel=0.03)


@pytest.mark.slow
def test_webs_on_leaning_flanges(tmp_path_factory):
    """Three radial pieces: webs stand square to faces that lean to the pull."""
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=BALL_MM)
    build = Build(
        tmp_path_factory.mktemp("wedges"),
        mesh,
        parting={"kind": "radial", "pieces": 3},
        jacket={"keys": False},
        flange={"gussets": True},
    )
    assert all(len(gussets_of(build.piece(n))) > 3 for n in "ABC")
    assert not any(fit.left_out for fit in build.files.fits.values())
    bad = {k: f.says for k, f in build.findings.items() if f.status != "pass"}
    assert not bad


@pytest.mark.slow
def test_webs_on_a_stepped_flange(tmp_path_factory):
    egg = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    egg.apply_scale((45.0, 38.0, 28.0))
    egg.apply_transform(trimesh.transformations.rotation_matrix(np.radians(TILT_DEG), [1, 0, 0]))
    build = Build(
        tmp_path_factory.mktemp("egg"),
        egg,
        parting={"plane": {"normal": [0, 0, 1]}, "follow": "silhouette"},
        jacket={"keys": False, "thickness_mm": 8, "draft_deg": 5},
        raster={"pitch_mm": 0.5},
        flange={"gussets": True},
    )
    assert all(len(gussets_of(build.piece(n))) > 3 for n in "AB")
    bad = {k: f.says for k, f in build.findings.items() if f.status != "pass"}
    assert not bad
