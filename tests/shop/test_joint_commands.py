"""`shellgen bolts` and `shellgen coupon`: clean JSON, exit codes, files, words instead of tracebacks."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from shellgen.cli.bolts import bolts
from shellgen.cli.coupon import coupon
from shellgen.errors import ShellgenError

BOX = ((0.0, 0.0), (300.0, 0.0), (300.0, 120.0), (0.0, 120.0))
SPOTS = [(8.5 + x, y) for y in (8.5, 111.5) for x in (0.0, 70.0, 141.0, 212.0, 283.0)]
KEYS = {"gaps", "largest_pitch_mm", "limit_mm", "preload_n", "bearing_mpa", "hardware"}


@pytest.fixture
def job(tmp_path, monkeypatch, plan) -> Path:
    """A job file whose mold is the one made by hand, and a working folder of its own."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "hand.toml"
    path.write_text('name = "by hand"\n[pattern]\ndemo = "gate-finial"\n')
    monkeypatch.setattr("shellgen.shop.design_job.design_job", lambda wanted: plan(BOX, SPOTS))
    return path


def run(command, *words: str):
    app = typer.Typer()
    app.command()(command)
    return CliRunner().invoke(app, list(words))


def test_bolts_prints_json_and_nothing_else(job):
    done = run(bolts, str(job), "--json")
    assert done.exit_code == 0
    data = json.loads(done.stdout)
    assert set(data) >= KEYS
    assert {"pair", "span_mm", "opening_mm", "contact_mpa"} <= set(data["gaps"][0])
    folder = Path("outputs/by hand-bolts")
    assert sorted(p.name for p in folder.iterdir()) == ["bolts.json", "bolts.png", "outline.png"]
    assert json.loads((folder / "bolts.json").read_text()) == data


def test_bolts_prints_tables_and_words(job):
    done = run(bolts, str(job), "--out", "here")
    assert done.exit_code == 0
    assert "Bolt list" in done.stdout and "The joint holds." in done.stdout and "Written to here" in done.stdout
    assert run(bolts, str(job), "--quiet").stdout == ""


def test_same_job_same_bytes(job):
    run(bolts, str(job), "--out", "a", "--quiet")
    run(bolts, str(job), "--out", "b", "--quiet")
    for name in ("bolts.json", "bolts.png", "outline.png"):
        assert Path("a", name).read_bytes() == Path("b", name).read_bytes()


def test_a_seam_that_opens_ends_with_code_3(job):
    done = run(bolts, str(job), "--limit-mm", "0.001", "--json")
    assert done.exit_code == 3
    assert json.loads(done.stdout)["limit_mm"] == 0.001
    assert "the limit is 0.001 mm" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--limit-mm", "0"], "--limit-mm 0: must be above 0"),
        (["--modulus-mpa", "nan"], "--modulus-mpa nan: must be above 0"),
        (["--squeeze-mm", "-1"], "--squeeze-mm -1: must be at least 0"),
        (["--thicknesses", "6;8"], "--thicknesses 6;8: is not a list of numbers"),
        (["--sizes", "M7"], "bolt size 'M7' is not in the tables"),
        (["--large-washers"], "large washers of M6 are 18 mm wide"),
    ],
)
def test_bad_words_are_named(job, words, says):
    done = run(bolts, str(job), *words)
    assert isinstance(done.exception, ShellgenError)
    assert says in str(done.exception)
    assert not Path("outputs").exists()


def test_coupon_writes_its_pieces_and_reads_its_table(job):
    done = run(coupon, str(job), "--json")
    assert done.exit_code == 0
    data = json.loads(done.stdout)
    folder = Path("outputs/by hand-coupon")
    names = ["key.stl", "measured.csv", "sheet.png", "sockets.stl", "steps.stl", "strip-a.stl", "strip-b.stl"]
    assert sorted(p.name for p in folder.iterdir()) == names
    table = folder / "measured.csv"
    text = table.read_text().splitlines()
    wanted = {s["spot"]: s["predicted_mm"] for s in data["spots"]}
    table.write_text("\n".join(f"{r}{wanted['gap 3']}" if r.startswith("gap 3") else r for r in text))
    back = run(coupon, str(job), "--measured", str(table), "--json")
    assert back.exit_code == 0
    assert json.loads(back.stdout)["modulus_mpa"] == pytest.approx(data["modulus_mpa"], rel=2e-3)
    assert json.loads((folder / "calibration.json").read_text()) == json.loads(back.stdout)
    said = run(coupon, str(job), "--measured", str(table))
    assert "--modulus-mpa 1600" in said.stdout


def test_coupon_names_what_is_wrong_with_a_table(job):
    done = run(coupon, str(job), "--measured", "nowhere.csv")
    assert isinstance(done.exception, ShellgenError)
    assert "nowhere.csv: cannot be read" in str(done.exception)
