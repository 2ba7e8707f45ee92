"""Pieces as STEP: read back by OCC, by gmsh in a process of its own."""

import dataclasses
import json
import re
import subprocess
import sys

import numpy as np
import pytest
from OCP.BRep import BRep_Tool
from OCP.Geom import Geom_BSplineCurve, Geom_BSplineSurface
from OCP.Geom2d import Geom2d_BSplineCurve

from shellgen.checks.step import step_findings
from shellgen.checks.step_reread import counts, moved_back, read_solids
from shellgen.checks.step_surfaces import skins_of
from shellgen.errors import KernelError
from shellgen.export.step import StepFiles, write_steps
from shellgen.mold.drape import spec_of
from shellgen.progress import Quiet
from shellgen.solid.brep.occ import explored
from shellgen.solid.brep.piece import piece_brep
from shellgen.solid.brep.trace import TRACE_MM
from shellgen.solid.brep.workplane import piece_workplane
from shellgen.solid.recipe import Feature, Frustum, Role, inverse, transform
from tests.step.conftest import BALL_MM, TORUS_MM


@pytest.mark.parametrize("name", ["ball", "torus", "box", "disc", "wedges", "quarters"])
def test_all_checks_pass_on_files_read_back(name, request):
    build = request.getfixturevalue(name)
    assert not build.files.refused
    assert {k: f.says for k, f in build.findings.items() if f.status != "pass"} == {}
    assert len(build.findings) == 12


def read_piece(build, name):
    (solid,) = read_solids(build.folder / build.files.paths[name])
    return moved_back(solid, build.piece(name).pull_to_mold)


@pytest.mark.parametrize("name", ["A", "B"])
def test_skins_of_a_ball_are_balls(ball, name):
    """Both skins of the file, off the exact balls about the pattern by the fit's tolerance and a raster margin."""
    spec = spec_of(ball.mold.design.settings, name)
    middle = transform(ball.mold.design.pattern.bounds_mm, inverse(ball.piece(name).pull_to_mold)).mean(axis=0)
    inside, outside = skins_of(read_piece(ball, name))
    for (graph,), grown, level in ((inside, spec.inside_mm, 0.0), (outside, spec.outside_mm, 8.0)):
        radius = BALL_MM + grown
        x, y = np.meshgrid(np.arange(-60, 60, 0.7), np.arange(-60, 60, 0.7))
        z = graph.at(x + middle[0], y + middle[1]) - middle[2]
        far = np.sqrt(x**2 + y**2 + z**2)
        cap = (np.hypot(x, y) < 0.99 * radius) & (z > max(level, 0.05 * radius))  # clear of drafted walls
        off = far[cap] - radius
        assert np.median(np.abs(off)) < 0.07  # evened out against chords 0.06 mm short
        assert np.quantile(np.abs(off), 0.99) < 0.15 + 0.25 * 0.6  # tolerance, and chords of a 0.6 mm raster


def test_a_torus_leaves_an_island_of_flange(torus):
    """The skin's trim about a torus is two loops: the land within the ring belongs to the mating face."""
    solid = read_piece(torus, "B")
    inside, _ = skins_of(solid)
    assert TORUS_MM[0] - TORUS_MM[1] - spec_of(torus.mold.design.settings, "B").inside_mm > 5  # the ring stays open
    x, y, _ = transform(torus.mold.design.pattern.bounds_mm, inverse(torus.piece("B").pull_to_mold)).mean(axis=0)
    assert float(inside[0].at(x, y)) < 0
    mating = [m for m in torus.findings.values() if m.id == "step-mating"]
    assert mating[0].status == "pass"
    assert counts(solid).genus == torus.piece("B").genus()


def test_box_on_a_board_has_pockets_and_a_base_flange(box):
    second = box.piece("B")
    assert second.base is not None
    assert any(f.role is Role.POCKET for f in second.features)
    solid = read_piece(box, "B")
    assert counts(solid).genus == second.genus()
    walls = 6 * sum(f.role is Role.POCKET for f in second.features)
    assert walls < counts(solid).faces <= 100 + walls


GMSH = """
import gmsh, json, sys
gmsh.initialize(); gmsh.option.setNumber("General.Terminal", 0)
gmsh.model.occ.importShapes(sys.argv[1]); gmsh.model.occ.synchronize()
print(json.dumps([len(gmsh.model.getEntities(3)), len(gmsh.model.getEntities(2))]))
"""


@pytest.mark.parametrize("name", ["ball", "torus", "box", "disc", "wedges", "quarters"])
def test_a_second_reader_finds_the_same_faces(name, request):
    pytest.importorskip("gmsh")
    build = request.getfixturevalue(name)
    for part, file in build.files.paths.items():
        run = [sys.executable, "-c", GMSH, str(build.folder / file)]
        said = subprocess.run(run, capture_output=True, text=True, check=True).stdout
        (solid,) = read_solids(build.folder / file)
        assert json.loads(said.splitlines()[-1]) == [1, counts(solid).faces], part


def test_same_mold_same_bytes(ball, tmp_path):
    again = write_steps(ball.mold, tmp_path, Quiet())
    for file in (*again.paths.values(), again.assembly):
        assert (tmp_path / file).read_bytes() == (ball.folder / file).read_bytes(), file


def test_header_says_ap242_millimetres_and_no_time(ball):
    text = (ball.folder / ball.files.paths["A"]).read_text()
    assert "AP242" in text[:600]
    assert "2000-01-01T00:00:00" in text[:600]
    assert "SI_UNIT(.MILLI.,.METRE.)" in text
    assert "MANIFOLD_SOLID_BREP('ball A'" in text or "PRODUCT('ball A'" in text


def test_readers_keep_the_curves_on_skins(torus):
    """A curve in a skin's parameters read back is the one written, pole for pole as its curve in space.

    OCC projects one anew, with hundreds of poles, that misses its edge by more than the file's uncertainty.
    """
    for name in ("A", "B"):
        (solid,) = read_solids(torus.folder / torus.files.paths[name])
        skins = [f for f in explored(solid, "face") if isinstance(BRep_Tool.Surface_s(f), Geom_BSplineSurface)]
        found = 0
        for skin in skins:
            for edge in explored(skin, "edge"):
                curve, flat = BRep_Tool.Curve_s(edge, 0.0, 0.0), BRep_Tool.CurveOnSurface_s(edge, skin, 0.0, 0.0)
                if isinstance(curve, Geom_BSplineCurve) and isinstance(flat, Geom2d_BSplineCurve):
                    assert flat.NbPoles() == curve.NbPoles()
                    found += 1
        assert found >= 4  # two loops, each in two edges or more, on the inside alone


@pytest.mark.parametrize(("part", "stated"), [("A", TRACE_MM), ("lid", 1e-7)])
def test_files_state_how_near_their_curves_are(ball, part, stated):
    text = (ball.folder / ball.files.paths[part]).read_text()
    (found,) = re.findall(r"UNCERTAINTY_MEASURE_WITH_UNIT\(LENGTH_MEASURE\(([^)]*)\)", text)
    assert float(found) == stated
    (solid,) = read_solids(ball.folder / ball.files.paths[part])
    assert counts(solid).loosest_mm <= stated


def test_assembly_names_every_part_in_place(ball):
    text = (ball.folder / ball.files.assembly).read_text()
    for part in ("A", "B", "lid"):
        assert f"'ball {part}'" in text
    assert len(read_solids(ball.folder / ball.files.assembly)) == 3


def test_findings_see_a_file_of_another_part(ball):
    swapped = StepFiles({**ball.files.paths, "A": ball.files.paths["B"]}, ball.files.assembly, {}, ball.files.fits)
    bad = {f.id for f in step_findings(ball.mold, ball.folder, swapped) if f.status != "pass"}
    assert {"step-bores", "step-holes", "step-volume"} <= bad


def test_findings_see_a_skin_off_by_a_tenth(ball, tmp_path):
    """Skins of a wall a quarter of a millimetre thicker are out of tolerance, and the volume says so."""
    from dataclasses import replace

    piece = ball.piece("B")
    thick = replace(piece, outside=piece.outside.with_heights(piece.outside.heights_mm + 0.25))
    design = replace(ball.mold.design, pieces=(ball.piece("A"), thick))
    files = write_steps(replace(ball.mold, design=design), tmp_path, Quiet())
    bad = {f.id for f in step_findings(ball.mold, tmp_path, files) if f.status != "pass"}
    assert {"step-volume", "step-tolerance"} <= bad


def test_what_cannot_be_built_says_where(ball):
    piece = ball.piece("B")
    under = Feature(Role.BOLT_HOLE, Frustum((0.0, BALL_MM + 8.0, -1.0), (0.0, 0.0, 1.0), 20.0, 3.0, 3.0), add=False)
    with pytest.raises(
        KernelError, match=r"shell piece B: an edge of its mating face at \(.*\) lies .* within the wall"
    ):
        piece_brep(dataclasses.replace(piece, features=(*piece.features, under)))


def test_a_refused_part_is_named_and_the_others_are_written(ball, tmp_path):
    piece = ball.piece("B")
    skew = Feature(Role.FOOT, Frustum((60.0, 0.0, -1.0), (0.0, 1.0, 0.0), 20.0, 3.0, 3.0), add=True, body=True)
    design = dataclasses.replace(
        ball.mold.design, pieces=(ball.piece("A"), dataclasses.replace(piece, features=(*piece.features, skew)))
    )
    files = write_steps(dataclasses.replace(ball.mold, design=design), tmp_path, Quiet())
    assert set(files.paths) == {"A", "lid"}
    assert "foot at (60.0, 0.0, -1.0)" in files.refused["B"]
    finding = step_findings(ball.mold, tmp_path, files)[0]
    assert (finding.id, finding.status) == ("step-written", "warn")
    assert "no STEP of B" in finding.says


def test_a_bracket_joins_a_piece_in_plain_cadquery(ball):
    import cadquery

    piece = piece_workplane(ball.mold, "A")
    low, high = piece.val().BoundingBox().zmin, piece.val().BoundingBox().zmax
    assert piece.val().isValid()
    edge = max(np.asarray(ball.piece("A").outline.outer).tolist())  # the flange's rightmost point, in its own plan
    at = ball.piece("A").pull_to_mold @ np.array([edge[0], edge[1], 4.0, 1.0])
    bracket = cadquery.Workplane("XY", origin=tuple(float(c) for c in at[:3])).box(20, 20, 20)
    joined = piece.union(bracket, clean=False)
    assert joined.val().isValid()
    assert joined.solids().size() == 1
    assert joined.val().BoundingBox().zmax >= high - 1e-6 > low


def test_an_unknown_part_is_an_error(ball):
    with pytest.raises(KernelError, match="no rigid part 'C': this mold has A, B, lid"):
        piece_workplane(ball.mold, "C")


def test_what_is_cut_from_the_flange_is_cut_from_a_foot_on_it():
    """A bar flush with the flange's side is one wall with it, and a slot runs on under the bar, whatever came first."""
    from types import SimpleNamespace

    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    from shellgen.solid.brep.plate import plate_body
    from shellgen.solid.recipe import Outline, Prism

    def block(x0, y0, x1, y1, low, high):
        ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        return Prism(ring, (), (0.0, 0.0, low), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), high - low)

    slot = Feature(Role.PRY_SLOT, block(5.0, 30.0, 15.0, 41.0, -1.0, 2.0), add=False)
    foot = Feature(Role.FOOT, block(0.0, 30.0, 40.0, 40.0, -1.0, 20.0), add=True, body=True)
    square = ((0.0, 0.0), (40.0, 0.0), (40.0, 40.0), (0.0, 40.0))
    recipe = SimpleNamespace(name="A", outline=Outline(square, (), 6.0), apart=(), base=None, on_board=False)
    body = plate_body(recipe, (slot, foot))
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(body, properties)
    assert properties.Mass() == pytest.approx(40 * 40 * 6 + 40 * 10 * 14 - 10 * 10 * 2, abs=1e-6)
    # bottom, top, the bar's top; four sides, one of them up the bar; its back; three walls of the slot and its roof
    assert counts(body).faces == 3 + 4 + 1 + 4
