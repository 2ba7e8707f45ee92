"""3MF, read back by trimesh and held against the core specification's rules."""

import re
import zipfile
from xml.etree import ElementTree

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from shellgen.export.threemf import CORE, write_3mf
from shellgen.export.weld import weld_float32

# 3MF Core Specification, simple type ST_Number
NUMBER = re.compile(r"((\-|\+)?(([0-9]+(\.[0-9]+)?)|(\.[0-9]+))((e|E)(\-|\+)?[0-9]+)?)")


@pytest.fixture
def ball():
    mesh = m3.Manifold.sphere(40, 96).translate((5, -1600, 7)).to_mesh64()
    vertices, faces, _ = weld_float32(np.asarray(mesh.vert_properties), np.asarray(mesh.tri_verts).astype(np.int32))
    return vertices, faces


def test_trimesh_reads_the_same_solid(ball, tmp_path):
    vertices, faces = ball
    write_3mf(tmp_path / "a.3mf", vertices, faces, name="ball")
    again = trimesh.load(tmp_path / "a.3mf", force="mesh")
    assert again.is_watertight
    assert len(again.vertices) == len(vertices)
    np.testing.assert_allclose(again.vertices, vertices, atol=5.1e-6)
    np.testing.assert_array_equal(again.faces, faces)


def test_the_package_says_unit_name_and_types(ball, tmp_path):
    write_3mf(tmp_path / "a.3mf", *ball, name='half "A" & <pin>')
    with zipfile.ZipFile(tmp_path / "a.3mf") as package:
        assert package.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
        assert package.testzip() is None
        model = ElementTree.fromstring(package.read("3D/3dmodel.model"))
        relations = ElementTree.fromstring(package.read("_rels/.rels"))
    assert model.get("unit") == "millimeter"
    space = {"m": CORE}
    assert model.find("m:resources/m:object", space).get("name") == 'half "A" & <pin>'
    assert relations[0].get("Target") == "/3D/3dmodel.model"
    assert [i.get("objectid") for i in model.findall("m:build/m:item", space)] == ["1"]
    for vertex in model.iter(f"{{{CORE}}}vertex"):
        assert all(NUMBER.fullmatch(vertex.get(axis)) for axis in "xyz")


def test_same_solid_same_bytes(ball, tmp_path):
    write_3mf(tmp_path / "a.3mf", *ball, name="ball")
    write_3mf(tmp_path / "b.3mf", *ball, name="ball")
    assert (tmp_path / "a.3mf").read_bytes() == (tmp_path / "b.3mf").read_bytes()


def test_a_laid_out_copy_is_placed_by_the_reader(ball, tmp_path):
    matrix = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3]).round(6)
    matrix[:3, 3] = 10, 20, 30
    write_3mf(tmp_path / "a.3mf", *ball, name="ball", transform=matrix)
    again = trimesh.load(tmp_path / "a.3mf", force="mesh")
    expected = trimesh.transform_points(ball[0], matrix)  # the reader keeps the matrix in float32
    np.testing.assert_allclose(again.bounds, [expected.min(0), expected.max(0)], atol=1e-3)


def test_a_higher_level_gives_a_smaller_file(ball, tmp_path):
    write_3mf(tmp_path / "a.3mf", *ball, name="ball", compresslevel=1)
    write_3mf(tmp_path / "b.3mf", *ball, name="ball", compresslevel=9)
    assert (tmp_path / "b.3mf").stat().st_size < (tmp_path / "a.3mf").stat().st_size
