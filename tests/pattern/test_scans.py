"""Real scans and parts that other packages carry; skipped where these are not installed."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest
from shapes import assert_closed_solid, taken


def sample(package: str, inside: str) -> Path:
    """A sample file of an installed package; the package itself is not imported."""
    found = importlib.util.find_spec(package)
    if found is None or not found.submodule_search_locations:
        pytest.skip(f"{package} is not installed")
    path = Path(found.submodule_search_locations[0]) / inside
    if not path.exists():
        pytest.skip(f"{package} carries no {inside}")
    return path


SAMPLES = [
    ("pymeshlab", "tests/sample_meshes/bunny.obj", {"longest_side_mm": 200.0, "up": "+y"}),
    ("pymeshlab", "tests/sample_meshes/bone.ply", {"longest_side_mm": 150.0}),
    ("pyvista", "examples/nut.ply", {}),
]


@pytest.mark.parametrize(("package", "inside", "asked"), SAMPLES, ids=["bunny", "bone", "nut"])
@pytest.mark.parametrize("kind", ["none", "stem"])
def test_sample_is_taken_in(package, inside, asked, kind):
    pattern = taken(sample(package, inside), kind, **asked)
    assert pattern.skin.method == "as it is"
    assert_closed_solid(pattern.skin.vertices_mm, pattern.skin.faces)


def test_the_bunny_on_a_board_where_it_is_cut():
    path = sample("pymeshlab", "tests/sample_meshes/bunny.obj")
    whole = taken(path, longest_side_mm=200.0, up="+y")
    cut = taken(path, "board", {"cut_mm": 6.0}, longest_side_mm=200.0, up="+y")
    assert cut.footprint.area > 500
    assert cut.skin.volume_mm3 < whole.skin.volume_mm3
    assert_closed_solid(cut.skin.vertices_mm, cut.skin.faces)
