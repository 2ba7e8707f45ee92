"""`shellgen planes` from the outside: figures, pictures, the chosen plane in the job, and refusals."""

from __future__ import annotations

import json
import tomllib

import parting_shapes as shapes
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from shellgen.cli.app import Commands
from shellgen.cli.planes import planes

app = typer.Typer(cls=Commands)
app.command()(planes)
app.command("other")(lambda: None)
KEYS = ("normal", "offset_mm", "fill_cm3", "stepped_fill_cm3", "fill_g", "flange_length_mm", "draw_mm", "balance")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("planes")
    shapes.turned(shapes.elbow(), 40, (1, 2, 0.5)).export(place / "elbow.stl")
    return place


def run(folder, *arguments, job='[pattern]\nfile = "elbow.stl"\n'):
    (folder / "elbow.toml").write_text(job, encoding="utf-8")
    found = CliRunner().invoke(app, ["planes", str(folder / "elbow.toml"), "--out", str(folder / "out"), *arguments])
    return found


def test_json_has_the_documented_keys_and_a_clean_stdout(folder):
    found = run(folder, "--json")
    assert found.exit_code == 0, found.output
    figures = json.loads(found.stdout)
    assert len(figures["planes"]) == 5
    for plane in (*figures["planes"], figures["middle"]):
        assert all(isinstance(plane[key], (float, int, list)) for key in KEYS)
        assert len(plane["projected_mm"]) == 2 and plane["why"]
        assert plane["stepped_fill_cm3"] <= plane["fill_cm3"]
        assert all(len(spot["at_mm"]) == 3 and spot["excess_mm"] > 0 for spot in plane["undercuts"])
        assert plane["undercuts"] == sorted(plane["undercuts"], key=lambda spot: -spot["excess_mm"])
    assert figures["planes"][0]["fill_cm3"] <= figures["middle"]["fill_cm3"]
    third = figures["third_piece"]
    assert third["worth"] == (third["saves_g"] > third["costs_g"]) and "third piece" in third["says"]
    assert json.loads((folder / "out" / "planes.json").read_text(encoding="utf-8")) == figures


def test_pictures_show_rubber_and_fill(folder):
    found = run(folder)
    assert found.exit_code == 0, found.output
    page = Image.open(folder / "out" / "plane-5.png")
    assert page.size == (1600, 1200)
    red, green, blue = (band.astype(int) for band in _bands(page))
    assert ((red > blue + 40) & (red > 120)).sum() > 5000  # rubber
    assert ((blue > red + 20) & (blue > green + 40)).sum() > 500  # fill
    assert "least rubber" in found.stdout and "middle" in found.stdout


def test_radial_job_is_told_whether_two_halves_would_do(folder):
    job = '[pattern]\nfile = "elbow.stl"\n[parting]\nkind = "radial"\n[outputs]\npictures = false\n'
    found = run(folder, "--json", job=job)
    assert found.exit_code == 0, found.output
    halves = json.loads(found.stdout)["two_halves"]
    assert halves["pieces"] == 3 and "third_piece" not in json.loads(found.stdout)
    assert halves["would_do"] == (halves["fill_cm3"] <= halves["pieces_fill_cm3"] + halves["allowed_cm3"])
    assert halves["would_do"]  # an elbow parts clean in its own plane


def test_undercut_picture_marks_the_deepest_places(folder):
    assert run(folder).exit_code == 0
    page = Image.open(folder / "out" / "undercuts-plane-5.png")
    red, green, blue = (band.astype(int) for band in _bands(page))
    assert ((blue > red + 20) & (blue > green + 40)).sum() > 300  # deep rubber
    assert ((red > blue + 8) & (red > 200)).sum() > 5000  # the pattern's own colour


def _bands(page):
    import numpy as np

    return np.moveaxis(np.asarray(page.convert("RGB")), 2, 0)


def test_chosen_plane_is_written_into_the_job(folder):
    found = run(
        folder, "--write", "2", "--json", job='# mine\n[pattern]\nfile = "elbow.stl"\n[outputs]\npictures = false\n'
    )
    plane = json.loads(found.stdout)["planes"][1]
    text = (folder / "elbow.toml").read_text(encoding="utf-8")
    written = tomllib.loads(text)["parting"]["plane"]
    assert written["normal"] == pytest.approx(plane["normal"], abs=1e-5)
    assert written["offset_mm"] == pytest.approx(plane["offset_mm"], abs=0.006)
    assert text.startswith("# mine\n")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--write", "9"), "there are planes 1 to 5"),
        (("--keep-clear", "front"), "neither a side"),
        (("--keep-clear", "1,2,3"), "neither a side"),
    ],
)
def test_wrong_options_leave_the_job_alone(folder, arguments, says):
    job = '[pattern]\nfile = "elbow.stl"\n[outputs]\npictures = false\n'
    found = run(folder, *arguments, job=job)
    assert found.exit_code == 2 and says in found.stderr and "Traceback" not in found.stderr
    assert (folder / "elbow.toml").read_text(encoding="utf-8") == job


def test_on_a_board_planes_are_upright_and_the_open_base_is_no_leak(folder):
    job = '[pattern]\nfile = "elbow.stl"\n[mount]\nkind = "board"\ncut_mm = 20\n[outputs]\npictures = false\n'
    found = run(folder, "--json", job=job)
    assert found.exit_code == 0, found.output
    figures = json.loads(found.stdout)
    for plane in (*figures["planes"], figures["middle"]):
        assert plane["normal"][2] == 0
        assert 0 < plane["fill_cm3"] < plane["jacket_cm3"]
