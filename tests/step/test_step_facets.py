"""Parts in flat facets where the job asks for them, and the shorter text of STEP files."""

import dataclasses

import numpy as np
import pytest
import shapely
import trimesh
from OCP.BRep import BRep_Tool
from OCP.BRepGProp import BRepGProp
from OCP.Geom import Geom_Plane
from OCP.GProp import GProp_GProps

from shellgen.checks.step import step_findings
from shellgen.checks.step_reread import counts, graph_on, moved_back, read_solids
from shellgen.checks.step_volume import volume_mm3
from shellgen.errors import KernelError
from shellgen.export.step import write_steps
from shellgen.export.step_text import shortened
from shellgen.mold.mold import Part
from shellgen.progress import Quiet
from shellgen.solid.brep.faceted import faceted_brep, without_slivers
from shellgen.solid.brep.occ import explored
from shellgen.solid.brep.piece import fault_of
from shellgen.solid.recipe import Feature, Frustum, Role


def part_of(mesh):
    return Part("A", "shell", mesh.vertices, mesh.faces.astype(np.int32), float(mesh.volume), (0.0, 0.0, 1.0), None)


def test_a_ball_is_thinned_within_its_tolerance():
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=30.0)
    solid, count = faceted_brep(part_of(mesh), 0.15)
    assert fault_of(solid) is None
    assert counts(solid).closed
    assert count < 0.25 * len(mesh.faces)
    # all facets lie within 0.15 of the ball: so does the volume between it and one as much smaller
    share = volume_mm3(solid, graph_on) / (4 / 3 * np.pi * 30.0**3)
    assert (1 - 0.3 / 30.0) ** 3 < share < 1.0


def test_slivers_are_shared_out_anew():
    """A tetrahedron with a point on one of its edges: the flat triangle there goes, the surface stays closed."""
    points = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4], [2, 0, 0]], float)
    rows = [(0, 2, 1), (0, 3, 2), (1, 2, 3), (0, 4, 3), (4, 1, 3), (0, 1, 4)]  # the last one has no height
    found = without_slivers(points, rows, "A")
    mesh = trimesh.Trimesh(points, found, process=False)
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(64 / 6)
    assert mesh.area_faces.min() > 1.0


def test_slivers_that_stay_are_an_error():
    line = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0]], float)
    with pytest.raises(KernelError, match="no plane"):
        without_slivers(line, [(0, 1, 2), (0, 2, 1)], "A")


def refusing(build, fallback):
    """The mold with a piece B that cannot be built of true faces, and the setting asked for."""
    settings = build.mold.design.settings
    outputs = settings.outputs.model_copy(update={"step_faceted_fallback": fallback})
    piece = build.piece("B")
    skew = Feature(Role.FOOT, Frustum((60.0, 0.0, -1.0), (0.0, 1.0, 0.0), 20.0, 3.0, 3.0), add=True, body=True)
    pieces = (build.piece("A"), dataclasses.replace(piece, features=(*piece.features, skew)))
    settings = settings.model_copy(update={"outputs": outputs})
    return dataclasses.replace(
        build.mold, design=dataclasses.replace(build.mold.design, pieces=pieces, settings=settings)
    )


def test_a_refused_part_is_faceted_only_where_asked(ball, tmp_path):
    mold = refusing(ball, True)
    files = write_steps(mold, tmp_path, Quiet())
    assert set(files.paths) == {"A", "B", "lid"}
    assert set(files.facets) == {"B"}
    findings = {f.id: f for f in step_findings(mold, tmp_path, files)}
    assert findings["step-written"].status == "warn"
    assert f"B is written in {files.facets['B']} facets" in findings["step-written"].says
    assert findings["step-facets"].status == "pass"
    assert all(f.status == "pass" for k, f in findings.items() if k != "step-written")
    (solid,) = read_solids(tmp_path / files.paths["B"])
    assert counts(solid).faces == files.facets["B"]
    off = write_steps(refusing(ball, False), tmp_path, Quiet())
    assert set(off.paths) == {"A", "lid"} and not off.facets


def test_what_is_left_out_is_said_as_it_is(ball, box):
    assert ball.findings["step-written"].says == "all 3 are written"
    assert box.findings["step-written"].says == "all 3 are written, without their engraved labels (on B)"
    fits = {n: dataclasses.replace(f, engraved=n == "A") for n, f in ball.files.fits.items()}
    found = {f.id: f for f in step_findings(ball.mold, ball.folder, dataclasses.replace(ball.files, fits=fits))}
    assert found["step-written"].says == "all 3 are written, without their engraved labels (on B)"


def test_labels_are_engraved_where_they_are_few(ball):
    """Each letter's floor is a plane face at its depth, and all of them have the letters' area."""
    piece = ball.piece("A")
    letters = [f.shape for f in piece.features if f.role is Role.LABEL]
    depth = {s.origin[2] for s in letters}
    assert len(letters) >= 2 and len(depth) == 1
    (solid,) = read_solids(ball.folder / ball.files.paths["A"])
    floor, area = depth.pop(), 0.0
    for item in explored(moved_back(solid, piece.pull_to_mold), "face"):
        surface = BRep_Tool.Surface_s(item)
        level = isinstance(surface, Geom_Plane) and abs(surface.Pln().Axis().Direction().Z()) > 1 - 1e-9
        if level and abs(surface.Pln().Location().Z() - floor) < 1e-6:
            properties = GProp_GProps()
            BRepGProp.SurfaceProperties_s(item, properties)
            area += properties.Mass()
    assert area == pytest.approx(sum(shapely.Polygon(s.outer, s.holes).area for s in letters), rel=0.01)


def test_shorter_text_keeps_every_entity_that_is_used(ball):
    import re

    text = (ball.folder / ball.files.paths["A"]).read_bytes()
    data = text.partition(b"DATA;\n")[2].partition(b"\nENDSEC;")[0]
    rows = dict(row.partition(b"=")[::2] for row in data.rstrip(b";").split(b";\n"))
    used = {r for row in rows.values() for r in re.findall(rb"#\d+", row)}
    assert used <= set(rows)
    assert b" = " not in data
    assert shortened(text) == text  # its numbers have gaps now: left as it is
