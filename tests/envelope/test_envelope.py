"""Envelopes against closed forms (offset and drafted solids) and against an independent distance."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from shellgen.envelope.draft import draft
from shellgen.envelope.erode import erode
from shellgen.envelope.facets import facets
from shellgen.envelope.raster import Envelope, Grid
from shellgen.envelope.splat import splat
from shellgen.envelope.triangulate import solid_under
from shellgen.envelope.widen import widened

FLOOR = -40.0


def grid_about(points, pitch, pad):
    low, high = points[:, :2].min(0) - pad, points[:, :2].max(0) + pad
    rows, columns = (np.ceil((high - low) / pitch)[::-1] + 2).astype(int)
    return Grid(low[0] + 0.13 * pitch, low[1] + 0.29 * pitch, pitch, int(rows), int(columns))


def drafted_ball(rho, radius, angle):
    """Height of a ball with its tangent cone below the point where it reaches the draft angle."""
    ball = np.sqrt(np.maximum(radius**2 - rho**2, 0.0))
    return np.where(rho <= radius * np.cos(angle), ball, radius / np.sin(angle) - rho / np.tan(angle))


@pytest.fixture(scope="module")
def sphere():
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=50.0)
    return facets(mesh.vertices, mesh.faces)


@pytest.mark.parametrize(("radius", "pitch", "angle_deg"), [(10.0, 1.0, 3.0), (24.0, 1.0, 3.0), (8.0, 0.7, 8.0)])
def test_sphere_grown_and_drafted_is_the_drafted_ball(sphere, radius, pitch, angle_deg):
    grid = grid_about(sphere.points, pitch, radius + 20)
    found = draft(splat(sphere, grid, radius, angle_deg, FLOOR), pitch, angle_deg, FLOOR)
    rho = np.hypot(*np.meshgrid(grid.x_mm, grid.y_mm))
    angle = np.radians(angle_deg)
    exact = drafted_ball(rho, 50.0 + radius, angle)
    flat = np.maximum(exact / (50.0 + radius), np.sin(angle))  # cosine between the surface and the vertical
    above = exact > FLOOR + 2.0
    error = ((found - exact) * flat)[above]
    # the icosphere of 20480 faces lies up to 0.02 mm inside its sphere; cones start on raster nodes
    assert error.max() < 0.002
    assert error.min() > -0.11


def test_erosion_takes_the_sphere_back(sphere):
    grid = grid_about(sphere.points, 1.0, 40)
    grown = draft(splat(sphere, grid, 16.0, 3.0, FLOOR), 1.0, 3.0, FLOOR)
    found = erode(grown, 1.0, 6.0, 3.0, FLOOR)
    rho = np.hypot(*np.meshgrid(grid.x_mm, grid.y_mm))
    exact = drafted_ball(rho, 60.0, np.radians(3.0))
    top = rho < 50.0
    error = ((found - exact) * exact / 60.0)[top]  # square to the surface
    assert error.max() < 0.12
    assert error.min() > -0.065  # undrawn chords 0.05, the sphere's own facets 0.01


def test_v_groove_is_filled_by_the_crevice_ball():
    """A groove of half angle 45 degrees, closed by a ball of radius R, is R (sqrt 2 - 1) shallower than sharp."""
    x = np.array([-30.0, 0.0, 30.0])
    z = np.array([30.0, 0.0, 30.0])
    vertices = np.array([[a, b, c] for b in (-40.0, 40.0) for a, c in zip(x, z, strict=True)])
    faces = np.array([[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]])
    mesh = facets(vertices, faces)
    pitch, radius, crevice = 0.5, 5.0, 8.0
    grid = grid_about(vertices, pitch, 20)
    raised = draft(splat(mesh, grid, radius + crevice, 3.0, FLOOR), pitch, 3.0, FLOOR)
    found = erode(raised, pitch, crevice, 3.0, FLOOR)
    middle = Envelope(grid, found, radius, crevice, 3.0, FLOOR).at(np.zeros(1), np.zeros(1))[0]
    # grown by 5 the sharp groove's bottom stands at 5 sqrt 2; the rolling ball adds 8 (sqrt 2 - 1)
    exact = 5 * np.sqrt(2) + 8 * (np.sqrt(2) - 1)
    assert 0.0 <= middle - exact + 0.05 < 0.3  # on the thick side, first order in the pitch


def test_windows_leave_nothing_out():
    """Patches give the same raster as whole spheres about every vertex, on a lumpy body with ridges and holes."""
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=40.0)
    rng = np.random.default_rng(3)
    bumps = 1 + 0.1 * np.sin(mesh.vertices @ rng.normal(size=(3, 4)) / 6).sum(1, keepdims=True)
    vertices = mesh.vertices * bumps
    faces = mesh.faces[rng.random(len(mesh.faces)) > 0.05]
    flip = rng.random(len(faces)) < 0.3
    faces = np.where(flip[:, None], faces[:, ::-1], faces)
    some = facets(vertices, faces)
    whole = replace(some, window=np.full(len(some.points), np.pi))
    grid = grid_about(vertices, 0.8, 40)
    for radius in (5.0, 20.0):
        a = draft(splat(some, grid, radius, 3.0, FLOOR), 0.8, 3.0, FLOOR)
        b = draft(splat(whole, grid, radius, 3.0, FLOOR), 0.8, 3.0, FLOOR)
        slope = np.hypot(*np.gradient(b, 0.8))
        assert (np.abs(a - b) / np.hypot(1, slope)).max() < 0.005


@given(st.floats(0.5, 15.0), st.integers(0, 2**31 - 1))
@settings(max_examples=25, deadline=None)
def test_draft_is_above_and_never_too_steep(angle_deg, seed):
    rng = np.random.default_rng(seed)
    z = np.full((40, 50), -10.0)
    for _ in range(6):
        i, j = rng.integers(0, 34), rng.integers(0, 44)
        z[i : i + 6, j : j + 6] = rng.uniform(0, 60)
    found = draft(z, 1.0, angle_deg, -10.0)
    cot = 1 / np.tan(np.radians(angle_deg))
    assert (found >= z).all()
    assert np.abs(np.diff(found, axis=0)).max() <= cot + 0.011
    assert np.abs(np.diff(found, axis=1)).max() <= cot + 0.011
    # brute force: the largest of all cones
    y, x = np.mgrid[: z.shape[0], : z.shape[1]]
    away = np.hypot(y.ravel()[:, None] - y.ravel()[None], x.ravel()[:, None] - x.ravel()[None])
    exact = np.maximum((z.ravel()[None] - cot * away).max(1), -10.0)
    assert np.abs(found.ravel() - exact).max() < 0.011


def upper_volume(mesh, pitch, radius, angle_deg, shift=0.0):
    """Volume between the level z = 0 and the grown body, summed over the raster."""
    grid = grid_about(mesh.points, pitch, radius + 4 * pitch)
    grid = Grid(grid.x0_mm + shift * pitch, grid.y0_mm + 0.6 * shift * pitch, pitch, grid.rows, grid.columns)
    return np.maximum(splat(mesh, grid, radius, angle_deg, -1.0), 0.0).sum() * pitch**2


def test_box_upper_half_grows_as_steiner_says():
    """Box 60 x 40 x 20 grown by 5: V + S r + M r^2 + 4/3 pi r^3 = 101948.377 (Steiner); half lies above its middle."""
    box = trimesh.creation.box((60.0, 40.0, 20.0))
    box.apply_transform(trimesh.transformations.rotation_matrix(0.4, [0, 0, 1]))  # off the raster's axes
    mesh = facets(box.vertices, box.faces)
    assert upper_volume(mesh, 0.5, 5.0, 0.5) == pytest.approx(101948.377 / 2, rel=0.004)


def test_volume_error_falls_with_the_pitch():
    """A grown torus (Pappus: 2 pi^2 R r^2, half of it above its plane): the error falls at least linearly."""
    torus = trimesh.creation.torus(40.0, 10.0, major_sections=1200, minor_sections=240)
    mesh = facets(torus.vertices, torus.faces)
    exact = np.pi**2 * 40.0 * 13.0**2
    pitches = np.array([4.0, 2.0, 1.0])
    shifts = np.linspace(0, 0.9, 10)
    errors = [np.mean([abs(upper_volume(mesh, h, 3.0, 1.0, s) - exact) for s in shifts]) for h in pitches]
    assert errors[-1] < 0.005 * exact
    assert np.polyfit(np.log(pitches), np.log(errors), 1)[0] > 0.9


@pytest.mark.parametrize("pitch", [0.5, 1.0, 2.0])
def test_widened_ball_leaves_no_chord_inside(pitch):
    """A ball R = 12 on a raster: heights fall inside it by about h^2 / R and stand proud by half a step at most."""
    grid = Grid(-20.13, -19.87, pitch, int(40 / pitch), int(40 / pitch))
    rho = np.hypot(*np.meshgrid(grid.x_mm, grid.y_mm))
    z = np.maximum(drafted_ball(rho, 12.0, np.radians(3.0)), -30.0)
    field = Envelope(grid, widened(z), 12.0, 0.0, 3.0, -30.0)
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-13, 13, (2, 20000))
    height = field.at(x, y)
    seen = height > 0
    away = np.sqrt(x**2 + y**2 + height**2)[seen] - 12.0
    assert away.min() > -1.7 * pitch**2 / 12.0
    assert np.percentile(away, 1) > -1.4 * pitch**2 / 12.0
    assert away.max() < 0.5 * pitch
    facing = seen & (np.hypot(x, y) < 8.0)
    assert (np.sqrt(x**2 + y**2 + height**2)[facing] - 12.0).max() < 2.2 * pitch**2 / 12.0 + 0.01


@given(st.floats(0.02, 0.5))
@settings(max_examples=10, deadline=None)
def test_triangles_close_and_keep_their_tolerance(tolerance):
    grid = Grid(-20.0, -15.0, 0.5, 61, 83)
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    z = 18 * np.exp(-(x**2 + y**2) / 80) + 2 * np.sin(x / 4) - 12
    field = Envelope(grid, z, 1.0, 1.0, 3.0, -9.0)
    vertices, faces = solid_under(field, from_mm=-9.0, tolerance_mm=tolerance)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight and mesh.is_winding_consistent
    body = (np.maximum(z, -9.0) + 11.0).sum() * 0.25
    top = mesh.vertices[:, 2] > -8.99
    assert np.abs(field.at(mesh.vertices[top, 0], mesh.vertices[top, 1]) - mesh.vertices[top, 2]).max() < 1e-9
    # the net's square is larger than the raster, and flat there
    beyond = (mesh.vertices[:, 0].max() + 20.0) * (mesh.vertices[:, 1].max() + 15.0) - 61 * 83 * 0.25
    assert mesh.volume == pytest.approx(body + 2.0 * beyond, abs=2.0 * tolerance * 61 * 83 * 0.25 + 60)


def test_shell_inside_is_never_nearer_than_asked():
    """VTK's distances from points of the envelope to a lumpy pattern: none under the radius asked."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import reference, vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData, vtkStaticCellLocator

    ball = trimesh.creation.icosphere(subdivisions=5, radius=50.0)
    points = ball.vertices * (1 + 0.1 * np.sin(ball.vertices[:, :1] / 5))
    mesh = facets(points, ball.faces)
    pitch, radius = 0.8, 9.0
    grid = grid_about(points, pitch, 30)
    raised = draft(splat(mesh, grid, radius + 5.0, 3.0, FLOOR), pitch, 3.0, FLOOR)
    z = widened(erode(raised, pitch, 5.0, 3.0, FLOOR))
    field = Envelope(grid, z, radius, 5.0, 3.0, FLOOR)
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-60, 60, 4000), rng.uniform(-60, 60, 4000)
    height = field.at(x, y)
    up = height > -10
    data, cells, coords = vtkPolyData(), vtkCellArray(), vtkPoints()
    coords.SetData(numpy_to_vtk(np.array(points), deep=1))
    faces = np.hstack([np.full((len(ball.faces), 1), 3), ball.faces]).astype(np.int64).ravel()
    cells.ImportLegacyFormat(numpy_to_vtkIdTypeArray(faces, deep=1))
    data.SetPoints(coords)
    data.SetPolys(cells)
    locator = vtkStaticCellLocator()
    locator.SetDataSet(data)
    locator.BuildLocator()
    near, cell, sub, d2 = [0.0] * 3, reference(0), reference(0), reference(0.0)
    least = np.inf
    for p in np.column_stack([x, y, height])[up]:
        locator.FindClosestPoint(p, near, cell, sub, d2)
        least = min(least, float(d2) ** 0.5)
    assert least > radius - 0.05 - 0.8 * pitch**2 / radius  # undrawn chords, cells
