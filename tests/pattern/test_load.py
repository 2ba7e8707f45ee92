"""Loading: every format gives what trimesh reads from it; broken files are refused in words."""

from __future__ import annotations

import hashlib
import math

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from shapes import ball, box, written

from shellgen.errors import PatternError
from shellgen.pattern import load as load_module
from shellgen.pattern.load import load
from shellgen.pattern.text_numbers import numbers


def corners(vertices, faces):
    return np.asarray(vertices)[np.asarray(faces)]


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "off", "glb", "3mf"])
def test_each_format_gives_the_triangles_trimesh_reads(tmp_path, suffix):
    path = written(tmp_path, ball(37.3, 2), f"ball.{suffix}")
    raw = load(path)
    peer = trimesh.load(path, force="mesh", process=False)
    assert np.allclose(corners(raw.vertices, raw.faces), corners(peer.vertices, peer.faces), rtol=0, atol=1e-6)
    assert raw.vertices.dtype == np.float64
    assert raw.faces.dtype == np.int32
    assert raw.source == path.name
    assert raw.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(("suffix", "kind"), [("stl", "stl_ascii"), ("ply", "ply_ascii")])
def test_text_files_give_what_trimesh_reads(tmp_path, suffix, kind):
    mesh = trimesh.Trimesh(*ball(12.7, 2), process=False)
    path = tmp_path / f"ball.{suffix}"
    text = mesh.export(file_type="stl_ascii") if kind == "stl_ascii" else mesh.export(file_type="ply", encoding="ascii")
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    raw, peer = load(path), trimesh.load(path, force="mesh", process=False)
    assert np.allclose(corners(raw.vertices, raw.faces), corners(peer.vertices, peer.faces), rtol=1e-7, atol=1e-9)


def test_scene_transforms_of_a_glb_are_applied(tmp_path):
    scene = trimesh.Scene()
    turn = trimesh.transformations.rotation_matrix(math.pi / 2, [1, 0, 0], [3, 4, 5])
    scene.add_geometry(trimesh.creation.box((10, 20, 30)), transform=turn)
    beside = trimesh.transformations.translation_matrix([50, 0, 0])
    scene.add_geometry(trimesh.creation.box((1, 1, 1)), transform=beside)
    path = tmp_path / "scene.glb"
    scene.export(path)
    raw = load(path)
    peer = trimesh.load(path, force="mesh", process=False)
    assert len(raw.faces) == 24
    assert np.allclose(raw.vertices[raw.faces], peer.vertices[peer.faces], atol=1e-6)
    assert raw.vertices[:, 0].max() == pytest.approx(50.5)


def test_step_is_tessellated_within_its_chord(tmp_path):
    cq = pytest.importorskip("cadquery")
    path = tmp_path / "parts.step"
    cube = cq.Workplane().box(10, 10, 10).translate((90, 0, 0))
    cq.exporters.export(cq.Workplane().cylinder(80, 30).union(cube), str(path))
    raw = load(path)
    volume = trimesh.Trimesh(raw.vertices, raw.faces).volume
    exact = math.pi * 30**2 * 80 + 1000
    assert exact * (1 - 4e-3) < volume < exact
    radius = np.hypot(raw.vertices[:, 0], raw.vertices[:, 1])
    assert radius[raw.vertices[:, 0] < 60].max() == pytest.approx(30, abs=1e-6)


def test_binary_stl_whose_header_says_solid(tmp_path):
    path = written(tmp_path, box((30, 20, 10)), "box.stl")
    data = bytearray(path.read_bytes())
    data[:80] = b"solid facet pretends".ljust(80)
    path.write_bytes(data)
    assert len(load(path).faces) == 12


@pytest.mark.parametrize("said", [0, 5, 4_000_000_000])
def test_binary_stl_with_a_lying_count_is_read_by_its_length(tmp_path, said):
    path = written(tmp_path, box((30, 20, 10)), "box.stl")
    data = bytearray(path.read_bytes())
    data[80:84] = said.to_bytes(4, "little")
    path.write_bytes(data)
    assert len(load(path).faces) == 12


def test_quads_and_negative_indices_of_an_obj(tmp_path):
    path = tmp_path / "quad.obj"
    path.write_text(
        "# a comment\no part\nv 0 0 0 1.0\nv 10 0 0\nv 10 10 0\nv 0 10 0\nvt 0 0\n"
        "f 1/1/1 2/1/1 3/1/1 4/1/1\nv 5 5 9\nf -1 -5 -4 # back\nf 2//1 \\\n 3//1 5//1\n"
    )
    assert load(path).faces.tolist() == [[0, 1, 2], [0, 2, 3], [4, 0, 1], [1, 2, 4]]


@pytest.mark.parametrize("kind", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_with_mixed_polygons_and_extra_columns(tmp_path, kind):
    head = (
        f"ply\nformat {kind} 1.0\ncomment mixed\nelement vertex 5\nproperty float x\nproperty double y\n"
        "property float z\nproperty uchar red\nelement face 2\nproperty list uchar int vertex_indices\nend_header\n"
    )
    points = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (5, 5, 9)]
    polygons = [(0, 1, 2, 3), (0, 1, 4)]
    if kind == "ascii":
        rows = [f"{x} {y} {z} 7" for x, y, z in points] + [f"{len(p)} {' '.join(map(str, p))}" for p in polygons]
        body = ("\n".join(rows) + "\n").encode()
    else:
        order = "<" if "little" in kind else ">"
        record = np.dtype([("x", order + "f4"), ("y", order + "f8"), ("z", order + "f4"), ("red", "u1")])
        body = np.array([(*p, 7) for p in points], record).tobytes()
        for p in polygons:
            body += bytes([len(p)]) + np.array(p, order + "i4").tobytes()
    path = tmp_path / "mixed.ply"
    path.write_bytes(head.encode() + body)
    raw = load(path)
    assert raw.faces.tolist() == [[0, 1, 2], [0, 2, 3], [0, 1, 4]]
    assert np.array_equal(raw.vertices, np.array(points, float))


@given(st.lists(st.floats(-1e12, 1e12, allow_nan=False), min_size=1, max_size=40))
def test_numbers_in_text_are_those_python_reads(values):
    text = np.frombuffer(" ".join(repr(v) for v in values).encode(), np.uint8)
    read, _ = numbers(text, 0, len(values))
    assert len(read) == len(values)
    assert np.allclose(read, values, rtol=1e-15, atol=0)


@pytest.mark.parametrize("word", ["1e-320", "1.5E+3", "-.5", "+7.", "12345678901234567890123", "0.0000000000000000012"])
def test_odd_spellings_of_numbers(word):
    read, _ = numbers(np.frombuffer(word.encode(), np.uint8), 0, 2)
    assert read.tolist() == pytest.approx([float(word)], rel=1e-14)


def refused(path, words):
    with pytest.raises(PatternError, match=words):
        load(path)


def test_missing_empty_unknown_and_unreadable_files(tmp_path):
    refused(tmp_path / "gone.stl", "no such file")
    (tmp_path / "empty.stl").write_bytes(b"")
    refused(tmp_path / "empty.stl", "empty")
    (tmp_path / "a.dwg").write_bytes(b"x")
    refused(tmp_path / "a.dwg", r"no mesh format known here. Use one of .stl, .obj, .ply, .3mf, .glb, .off, .step")
    refused(tmp_path, "no mesh format")
    for suffix in ("ply", "glb", "3mf", "off", "step", "obj"):
        path = tmp_path / f"noise.{suffix}"
        path.write_bytes(b"v this is not a mesh \x00\x01\x02 at all, whatever its name says" * 3)
        refused(path, "cannot be read|no PLY header|no triangles|holds no solid")


def test_cut_off_files(tmp_path):
    stl = written(tmp_path, box((30, 20, 10)), "box.stl")
    stl.write_bytes(stl.read_bytes()[:-70])
    refused(stl, "says 12 triangles, holds 10")
    ply = written(tmp_path, box((30, 20, 10)), "box.ply")
    ply.write_bytes(ply.read_bytes()[:-5])
    refused(ply, "12 faces promised")
    text = tmp_path / "text.stl"
    text.write_text("solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nendloop\n")
    refused(text, "cut off")


def test_points_without_faces(tmp_path):
    path = tmp_path / "cloud.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\n")
    refused(path, r"no triangles \(3 points without faces\)")


def test_numbers_that_are_no_places(tmp_path):
    path = tmp_path / "nan.obj"
    path.write_text("v 0 0 0\nv 1 nan 0\nv 0 1 0\nf 1 2 3\n")
    refused(path, r"vertex 1 is \(1, nan, 0\)")
    stl = written(tmp_path, box((30, 20, 10)), "inf.stl")
    data = bytearray(stl.read_bytes())
    data[96:100] = np.float32(np.inf).tobytes()
    stl.write_bytes(data)
    refused(stl, "not a place")


def test_faces_that_name_missing_vertices(tmp_path):
    path = tmp_path / "wrong.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4\n")
    refused(path, "names vertex 3, the file has 0 to 2")
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -7\n")
    refused(path, "names vertex -4")


def test_an_obj_line_that_cannot_be_read_is_named(tmp_path):
    path = tmp_path / "bad.obj"
    path.write_text("v 0 0 0\nv 1 zero 0\n")
    refused(path, "line 2 cannot be read: 'v 1 zero 0'")


def test_too_many_triangles(tmp_path, monkeypatch):
    monkeypatch.setattr(load_module, "MOST_TRIANGLES", 11)
    refused(written(tmp_path, box((30, 20, 10)), "box.stl"), "12 triangles, more than 11")
