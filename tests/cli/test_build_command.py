"""`shellgen build` around a build whose outcome is given: exit codes, clean JSON, file names in errors."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from shellgen.cli.app import app
from shellgen.errors import DesignError, PatternError
from shellgen.export.manifest import manifest_text
from shellgen.pipeline import BuildResult

run = CliRunner().invoke
PART = {"name": "half-a", "kind": "shell", "bbox_mm": [[0, 0, 0], [10, 20, 300]], "volume_cm3": 812.3, "mass_g": 1031.6}


def outcome(status: str) -> BuildResult:
    check = {
        "id": "wall",
        "title": "wall",
        "status": status,
        "value": 5.9,
        "limit": 6,
        "unit": "mm",
        "says": "Thin at ä.",
    }
    manifest = {"job": {"name": "bell"}, "parts": [PART], "bolts": [], "quantities": {}, "checks": [check]}
    return BuildResult(Path("outputs/bell"), manifest, {"Reading": 1.5, "Checking": 2.25}, status == "fail")


@pytest.fixture
def build(tmp_path, monkeypatch):
    """Run the command on a good job file, the build itself replaced by `result` or by raising it."""
    monkeypatch.chdir(tmp_path)
    Path("bell.toml").write_text('[pattern]\ndemo = "horn-bell"\n')

    def command(result: BuildResult | Exception, *options: str):
        def build_job(job, out, progress):
            with progress.step("Reading the pattern"):
                progress.note("one hole was capped")
            if isinstance(result, Exception):
                raise result
            assert job.settings.pattern.demo == "horn-bell"
            return result

        monkeypatch.setattr("shellgen.pipeline.build_job", build_job)
        return run(app, ["build", "bell.toml", *options])

    return command


def test_good_build_prints_tables_and_ends_with_0(build):
    result = build(outcome("pass"))
    assert result.exit_code == 0
    assert "half-a" in result.stdout
    assert "Written to outputs/bell in 3.8 s." in result.stdout
    assert "DO NOT MAKE" not in result.output
    assert result.stderr == "note: one hole was capped\n"


def test_warning_does_not_stop_anyone(build):
    assert build(outcome("warn")).exit_code == 0


def test_failed_check_ends_with_3_and_is_loud_in_every_mode(build):
    shown = build(outcome("fail"))
    assert shown.exit_code == 3
    assert "DO NOT MAKE" in shown.stdout
    quiet = build(outcome("fail"), "--quiet")
    assert (quiet.exit_code, quiet.stdout) == (3, "")
    assert quiet.stderr == "DO NOT MAKE: 1 check failed: wall (Thin at ä).\n"


def test_json_is_the_manifest_and_nothing_else(build):
    result = build(outcome("fail"), "--json")
    assert result.stdout == manifest_text(outcome("fail").manifest)
    assert json.loads(result.stdout)["checks"][0]["says"] == "Thin at ä."
    assert "DO NOT MAKE" in result.stderr


def test_design_error_names_the_job_file_once(build):
    for said in ("flange.width_mm = 12: too narrow.", "bell.toml: flange.width_mm = 12: too narrow."):
        result = build(DesignError(said))
        assert result.exit_code == 2
        assert "error: bell.toml: flange.width_mm = 12: too narrow.\n" in result.stderr
        assert "bell.toml: bell.toml" not in result.stderr


def test_other_errors_stay_as_they_are(build):
    result = build(PatternError("bell.stl: no triangles."))
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith("error: bell.stl: no triangles.\n")


def test_disk_that_is_full_and_memory_that_is_short_are_one_message(build):
    assert "error: out: No space left on device." in build(OSError(28, "No space left on device", "out")).stderr
    short = build(MemoryError())
    assert short.exit_code == 2
    assert "error: not enough memory. Give a larger raster.pitch_mm or fewer triangles." in short.stderr
