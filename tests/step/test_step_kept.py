"""A build keeps STEP files only if they pass on being read back, and says so where it keeps none."""

from dataclasses import replace

import trimesh

from shellgen.checks import step as step_checks
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.pipeline import build_job


def test_files_that_fail_are_taken_out_and_not_called_written(tmp_path, monkeypatch):
    sound = step_checks.step_findings

    def failing(mold, folder, files):
        return tuple(
            replace(f, status="fail", says="a crack") if f.id == "step-lines" else f for f in sound(mold, folder, files)
        )

    monkeypatch.setattr(step_checks, "step_findings", failing)
    trimesh.creation.icosphere(subdivisions=4, radius=25.0).export(tmp_path / "ball.stl")
    data = {"name": "ball", "pattern": {"file": str(tmp_path / "ball.stl")}, "raster": {"pitch_mm": 0.6}}
    job = Job(Settings.model_validate({**data, "outputs": {"pictures": False}}), tmp_path / "ball.toml")
    result = build_job(job, tmp_path / "out")
    assert [c["id"] for c in result.manifest["checks"] if c["status"] == "fail"] == []
    assert not list((tmp_path / "out").glob("*.step"))
    found = {c["id"]: c for c in result.manifest["checks"]}
    assert found["step-lines"]["status"] == found["step-written"]["status"] == "warn"
    assert found["step-written"]["says"].startswith("none is kept: ")
    assert found["step-written"]["says"].endswith("a crack")
    assert found["step-written"]["value"] == 3.0
    assert all("step" not in p["files"] for p in result.manifest["parts"])
