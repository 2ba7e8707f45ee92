"""The program as a user meets it: commands, exit codes, one clean message for what is wrong."""

import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from shellgen.cli.app import app
from shellgen.job.read import read_job
from shellgen.pattern.load import load
from shellgen.pattern.measure import measure

ROOT = Path(__file__).parents[2]
run = CliRunner().invoke


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def off_box(path: Path, *sides: float) -> Path:
    """A block standing on z = 0, as OFF."""
    x, y, z = sides
    corners = [(a, b, c) for c in (0, z) for a, b in ((0, 0), (x, 0), (x, y), (0, y))]
    faces = [(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7)]
    faces += [f for i in range(4) for f in ((i, (i + 1) % 4, (i + 1) % 4 + 4), (i, (i + 1) % 4 + 4, i + 4))]
    lines = ["OFF", f"8 {len(faces)} 0", *(" ".join(map(str, c)) for c in corners)]
    path.write_text("\n".join([*lines, *(f"3 {a} {b} {c}" for a, b, c in faces)]) + "\n")
    return path


def test_help_names_the_commands_in_the_order_of_the_work():
    result = run(app, ["--help"])
    assert result.exit_code == 0
    places = [result.output.index(f" {name} ") for name in ("start", "planes", "bolts", "coupon", "build", "demo")]
    assert places == sorted(places)


def test_help_is_instant_and_loads_nothing_heavy():
    code = "import sys, shellgen.cli.app; print(sorted({m.split('.')[0] for m in sys.modules}))"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    loaded = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True).stdout
    for heavy in ("numpy", "scipy", "numba", "trimesh", "vtkmodules", "OCP", "cadquery", "manifold3d", "pydantic"):
        assert f"'{heavy}'" not in loaded
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "shellgen.cli.app", "--help"], env=env, capture_output=True, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < 0.5  # processor time: others may run


def test_demo_writes_its_mesh_and_does_not_replace_it():
    result = run(app, ["demo", "gate-finial", "--out", "d"])
    assert result.exit_code == 0
    assert "Wrote d/gate-finial.stl" in result.output
    raw = load(Path("d/gate-finial.stl"))
    assert np.ptp(raw.vertices[:, 2]) == pytest.approx(380, abs=1e-3)
    again = run(app, ["demo", "gate-finial", "--out", "d"])
    assert again.exit_code == 2
    assert again.stderr == "error: d/gate-finial.stl: is there already. Give --force to replace it, or another --out.\n"
    assert run(app, ["demo", "gate-finial", "--out", "d", "--force", "--quiet"]).output == ""


def test_start_writes_a_job_that_reads_back():
    off_box(Path("block.off"), 100, 60, 300)
    result = run(app, ["start", "block.off"])
    assert result.exit_code == 0
    assert "block.off: 12 triangles, 1 body, closed" in result.output
    assert "board: 100 % of its shadow is a flat base" in result.output
    assert "Wrote block.toml. Next: shellgen build block.toml" in result.output
    job = read_job("block.toml")
    assert job.settings.name == "block"
    assert job.settings.mount.kind == "board"
    assert job.settings.parting.plane.angle_deg == 90
    assert (job.base / job.settings.pattern.file).resolve() == Path("block.off").resolve()


def test_start_names_the_mesh_from_where_the_job_stands():
    Path("meshes").mkdir()
    off_box(Path("meshes/a b.off"), 0.1, 0.06, 0.3)
    result = run(app, ["start", "meshes/a b.off", "--out", "jobs/one.toml"])
    assert result.exit_code == 0
    assert "CHECK THIS: the longest side is 0.3" in result.output
    job = read_job("jobs/one.toml")
    assert job.settings.pattern.file == "../meshes/a b.off"
    assert job.settings.pattern.longest_side_mm == 200


def test_start_does_not_replace_a_job_file():
    off_box(Path("block.off"), 100, 60, 300)
    Path("block.toml").write_text("mine")
    result = run(app, ["start", "block.off"])
    assert result.exit_code == 2
    assert result.stderr == "error: block.toml: is there already. Give --force to replace it, or another --out.\n"
    assert Path("block.toml").read_text() == "mine"
    assert run(app, ["start", "block.off", "--force", "--quiet"]).output == ""
    assert read_job("block.toml").settings.name == "block"


def test_start_prints_figures_as_json():
    off_box(Path("block.off"), 100, 60, 300)
    found = json.loads(run(app, ["start", "block.off", "--json"]).stdout)
    assert found["size_mm"] == [100, 60, 300]
    assert found["pattern"]["triangles"] == 12
    assert found["chosen"]["mount.kind"] == "board"
    assert set(found["assumed"]) == {"size", "up", "mount", "plane", "rubber", "wall", "bolts"}


def test_start_says_what_is_wrong_with_a_mesh():
    Path("empty.stl").write_bytes(b"")
    result = run(app, ["start", "empty.stl"])
    assert (result.exit_code, result.stderr) == (2, "error: empty.stl: the file is empty. Export the mesh again.\n")
    assert not Path("empty.toml").exists()
    assert run(app, ["start", "missing.stl"]).exit_code == 2


def test_build_says_what_is_wrong_with_a_job():
    Path("bell.toml").write_text("[flange]\nwidht_mm = 3\n")
    result = run(app, ["build", "bell.toml"])
    assert result.exit_code == 2
    assert result.stderr == "error: bell.toml: flange.widht_mm: unknown key. Did you mean flange.width_mm?\n"
    assert not Path("outputs").exists()


def test_folder_that_cannot_be_written_is_one_message():
    Path("d").write_text("a file where the folder should be")
    result = run(app, ["demo", "gate-finial", "--out", "d"])
    assert result.exit_code == 2
    assert result.stderr.startswith("error: d: ")
    assert "Traceback" not in result.stderr


def test_interrupt_ends_with_130(monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("shellgen.job.read.read_job", interrupted)
    result = run(app, ["build", "bell.toml"])
    assert result.exit_code == 130
    assert result.stderr == "interrupted; nothing was changed.\n"


def test_start_measures_what_the_demo_is():
    run(app, ["demo", "horn-bell", "--quiet"])
    raw = load(Path("horn-bell.stl"))
    assert measure(raw.vertices, raw.faces).flat_base_share > 0.35
    run(app, ["start", "horn-bell.stl", "--quiet"])
    assert read_job("horn-bell.toml").settings.mount.kind == "board"
