"""`shellgen start` has the parting follow the silhouette where that saves rubber, and only there."""

import numpy as np
import parting_shapes as shapes
import pytest
import typer
from typer.testing import CliRunner

from shellgen.cli.start import start
from shellgen.job.read import read_job

app = typer.Typer()
app.command()(start)


def started(folder, mesh):
    mesh.export(folder / "ring.stl")
    found = CliRunner().invoke(app, [str(folder / "ring.stl"), "--out", str(folder / "ring.toml")])
    assert found.exit_code == 0, found.output
    return read_job(folder / "ring.toml").settings.parting, found.output


def wavy(rise_mm):
    """A torus whose circle climbs and falls twice."""
    ring = shapes.torus(60.0, 8.0)
    ring.vertices[:, 2] += rise_mm * np.cos(2 * np.arctan2(ring.vertices[:, 1], ring.vertices[:, 0]))
    return ring


def test_a_ring_that_climbs_and_falls_is_followed(tmp_path):
    parting, says = started(tmp_path, wavy(20.0))
    assert parting.follow == "silhouette"
    assert parting.plane.normal == pytest.approx((0, 0, 1))
    assert "climbs and falls with the silhouette" in says and "cm3 of rubber" in says


def test_a_level_ring_keeps_its_plane(tmp_path):
    parting, says = started(tmp_path, wavy(0.0))  # its silhouette lies in the plane: nothing to save
    assert parting.follow == "plane"
    assert "silhouette" not in says


def test_a_pattern_that_cannot_be_costed_is_still_started(tmp_path, monkeypatch):
    from shellgen.errors import DesignError
    from shellgen.mold import as_built

    def refuse(*_):
        raise DesignError("no plane")

    monkeypatch.setattr(as_built, "cost_as_built", refuse)
    assert started(tmp_path, wavy(20.0))[0].follow == "plane"
