"""Binary STL, read back by hand and by trimesh."""

import struct

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from shellgen.export.stl import write_stl


def test_bytes_are_those_of_the_format(tmp_path):
    corners = np.array([[0, 0, 0], [2, 0, 0], [0, 3, 0]], float)
    write_stl(tmp_path / "t.stl", corners, np.array([[0, 1, 2]], np.int32))
    data = (tmp_path / "t.stl").read_bytes()
    assert len(data) == 80 + 4 + 50
    assert not data.startswith(b"solid")
    assert struct.unpack("<I", data[80:84]) == (1,)
    assert struct.unpack("<12fH", data[84:]) == (0, 0, 1, 0, 0, 0, 2, 0, 0, 0, 3, 0, 0)


def test_trimesh_reads_the_same_solid(tmp_path):
    mesh = m3.Manifold.sphere(40, 96).translate((5, 6, 7)).to_mesh64()
    vertices, faces = np.asarray(mesh.vert_properties), np.asarray(mesh.tri_verts).astype(np.int32)
    write_stl(tmp_path / "ball.stl", vertices, faces)
    again = trimesh.load(tmp_path / "ball.stl")
    assert again.is_watertight
    assert again.volume == pytest.approx(trimesh.Trimesh(vertices, faces).volume, rel=1e-6)
    np.testing.assert_allclose(again.bounds, [vertices.min(0), vertices.max(0)], atol=1e-5)


def test_a_triangle_without_area_gets_no_normal(tmp_path):
    write_stl(tmp_path / "t.stl", np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0]], float), np.array([[0, 1, 2]], np.int32))
    assert struct.unpack("<3f", (tmp_path / "t.stl").read_bytes()[84:96]) == (0, 0, 0)
