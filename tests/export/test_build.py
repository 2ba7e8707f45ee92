"""A whole build folder, read back with other libraries, and its manifest."""

import json
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from handmade import Plan, handmade, replace_settings, settings

from shellgen.checks.finding import Finding
from shellgen.envelope.raster import Envelope, Grid
from shellgen.errors import KernelError
from shellgen.export.fingerprint import design_sha256
from shellgen.export.folder import is_build
from shellgen.export.manifest import build_manifest, manifest_text, mesh_volume_mm3
from shellgen.export.write import file_stem, write_build, write_parts
from shellgen.parting.surface import PlaneParting
from shellgen.solid.recipe import Feature, Frustum, Outline, PieceRecipe, Role
from shellgen.standards.materials import material

FINDINGS = (
    Finding("rubber", "rubber at least as thick as asked", "pass", 8.123456, 8.0, "mm", "least rubber is 8.12 mm"),
    Finding("bed", "parts fit the bed", "warn", None, None, "%", "×"),
)


@pytest.fixture(scope="module")
def mold():
    return handmade(Plan(segments=64), outputs={"layout": True})


@pytest.fixture(scope="module")
def folder(mold, tmp_path_factory):
    path = tmp_path_factory.mktemp("build")
    write_build(mold, FINDINGS, path)
    return path


@pytest.fixture(scope="module")
def manifest(folder):
    return json.loads((folder / "manifest.json").read_text())


def test_the_schema_has_exactly_these_keys(manifest):
    assert list(manifest) == [
        "job", "versions", "parts", "assembly", "bolts", "keys", "quantities", "checks", "pattern_to_mold",
        "design_sha256",
    ]  # fmt: skip
    assert list(manifest["job"]) == ["name", "mesh", "settings"]
    assert list(manifest["job"]["mesh"]) == ["file", "sha256"]
    assert all(
        list(p) == ["name", "kind", "files", "volume_cm3", "mass_g", "bbox_mm", "pull"] for p in manifest["parts"]
    )
    assert all(list(b) == ["pair", "size", "seats_mm", "ends", "setup"] for b in manifest["bolts"])
    assert all(list(k) == ["pair", "kind", "at_mm"] for k in manifest["keys"])
    assert all(list(c) == ["id", "title", "status", "value", "limit", "unit", "says"] for c in manifest["checks"])


def test_settings_are_nested_by_the_job_files_keys(manifest, mold):
    found = manifest["job"]["settings"]
    assert found["jacket"]["thickness_mm"] == 8.0
    assert found["jacket"]["clearance_mm"] == 0.5
    assert found["shell"]["wall_mm"] == 6.0
    assert found["mount"]["kind"] == "none"
    assert found["parting"]["plane"] == "middle"
    assert found["bolts"] | {"torque_nm": None, "flash_limit_mm": None} == found["bolts"]
    assert {k: found["bolts"][k] for k in ("size", "pitch_mm", "fit", "nut")} == {
        "size": "M6",
        "pitch_mm": 80.0,
        "fit": "medium",
        "nut": "washer",
    }
    assert type(mold.design.settings).model_validate(found) == mold.design.settings


def test_files_are_there_and_hold_the_stated_volume_and_box(folder, manifest):
    for part in manifest["parts"]:
        mesh = trimesh.load(folder / part["files"]["stl"])
        assert mesh.is_watertight
        assert mesh.volume / 1000 == pytest.approx(part["volume_cm3"], rel=2e-6)
        np.testing.assert_allclose(mesh.bounds, part["bbox_mm"], atol=1e-4)
        if part["kind"] == "jacket":
            assert set(part["files"]) == {"stl"}
            assert part["pull"] is None
            continue
        again = trimesh.load(folder / part["files"]["3mf"], force="mesh")
        assert again.volume == pytest.approx(mesh.volume, rel=1e-6)
        np.testing.assert_allclose(again.bounds, mesh.bounds, atol=1e-4)
        flat = trimesh.load(folder / part["files"]["laid_3mf"], force="mesh")
        assert flat.volume == pytest.approx(mesh.volume, rel=1e-5)
        np.testing.assert_allclose(flat.bounds[0], 0, atol=1e-3)
        assert np.linalg.norm(part["pull"]) == pytest.approx(1, abs=1e-8)


def test_masses_are_volume_by_density(manifest):
    for part in manifest["parts"]:
        density = material("silicone" if part["kind"] == "jacket" else "petg").density_g_cm3
        assert part["mass_g"] == pytest.approx(density * part["volume_cm3"], abs=0.01)
    total = manifest["quantities"]
    assert total["rigid_mass_g"] == pytest.approx(sum(p["mass_g"] for p in manifest["parts"][:2]), abs=0.02)
    assert total["rubber_volume_cm3"] == pytest.approx(manifest["parts"][2]["volume_cm3"], abs=1e-3)
    assert list(total) == sorted(total)


def test_bolts_keys_and_checks_are_those_of_the_design(manifest, mold):
    assert len(manifest["bolts"]) == 6
    np.testing.assert_allclose(
        [b["seats_mm"] for b in manifest["bolts"]], [b.seats_mm for b in mold.design.bolts], atol=1e-4
    )
    assert manifest["assembly"] == ["shell A", "shell B"]
    assert [k["kind"] for k in manifest["keys"]] == ["cone", "cone"]
    assert manifest["checks"][0]["value"] == 8.1235
    assert manifest["checks"][1] == {
        "id": "bed", "title": "parts fit the bed", "status": "warn", "value": None, "limit": None, "unit": "%",
        "says": "×",
    }  # fmt: skip


def test_same_mold_same_bytes(folder, mold, tmp_path):
    write_build(mold, FINDINGS, tmp_path)
    names = sorted(p.name for p in folder.iterdir())
    assert names == sorted(p.name for p in tmp_path.iterdir())
    assert len(names) == 3 + 2 + 2 + 1
    assert all((folder / n).read_bytes() == (tmp_path / n).read_bytes() for n in names)
    assert is_build(tmp_path)


def test_files_of_others_are_named_too(mold, tmp_path):
    found = write_build(mold, (), tmp_path, more_files={"shell A": {"step": "shell-A.step"}})
    assert found["parts"][0]["files"]["step"] == "shell-A.step"
    assert "step" not in found["parts"][1]["files"]


def test_without_layout_no_laid_copies(tmp_path):
    plain = handmade(Plan(segments=64))
    written = write_parts(plain, tmp_path)
    assert set(written["shell A"].files) == {"stl", "3mf"}


def test_no_number_is_minus_zero_or_endless(manifest, mold):
    assert "-0.0," not in manifest_text(manifest)
    bad = replace(FINDINGS[0], value=float("inf"))
    written = {p.name: _written(p) for p in mold.parts}
    assert build_manifest(mold, (bad,), written)["checks"][0]["value"] is None


def _written(part):
    from shellgen.export.manifest import PartFiles

    low, high = part.vertices_mm.min(0), part.vertices_mm.max(0)
    return PartFiles({"stl": "x.stl"}, part.volume_mm3, (tuple(low), tuple(high)))


def test_mesh_volume_far_from_the_origin_keeps_its_digits():
    box = trimesh.creation.box((10, 20, 30))
    assert mesh_volume_mm3(box.vertices + 1e6, box.faces) == pytest.approx(6000, rel=1e-9)


def test_part_names_become_plain_file_names():
    assert file_stem("shell A") == "shell-A"
    assert file_stem("../Lid no. 2") == "Lid-no.-2"
    assert file_stem("äö") == "part"


def recipe(height=1.0):
    grid = Grid(0.0, 0.0, 1.0, 3, 3)
    envelope = Envelope(grid, np.full((3, 3), height), 8.0, 5.0, 3.0, -10.0)
    hole = Feature(Role.BOLT_HOLE, Frustum((0, 0, 0), (0, 0, 1), 9.0, 3.3, 3.3), add=False, through=True)
    return PieceRecipe(
        "A", np.eye(4), PlaneParting(), envelope, envelope, envelope, Outline(((0, 0), (1, 0), (0, 1)), (), 8.0),
        False, None, (hole,),
    )  # fmt: skip


def test_the_fingerprint_follows_job_pattern_recipe_and_versions(mold):
    design = replace(mold.design, pieces=(recipe(),))
    versions = {"shellgen": "1"}
    base = design_sha256(design, versions)
    assert base == design_sha256(replace(mold.design, pieces=(recipe(),)), dict(versions))
    others = [
        replace(design, pieces=(recipe(1.0 + 1e-12),)),
        replace(design, pattern=replace(design.pattern, sha256="1" * 64)),
        replace_settings(mold, settings(Plan(), shell={"wall_mm": 6.5})).design,
        replace(design, pieces=()),
    ]
    hashes = {design_sha256(other, versions) for other in others} | {design_sha256(design, {"shellgen": "2"})}
    assert len(hashes) == 5
    assert base not in hashes


def test_a_design_without_stable_bytes_is_refused(mold):
    with pytest.raises(KernelError, match="no fingerprint"):
        design_sha256(replace(mold.design, pieces=(object(),)), {})
