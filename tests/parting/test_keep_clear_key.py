"""`parting.keep_clear` in a job: what it takes, how it is refused, and that the seam keeps out of it."""

import pytest
import trimesh

from shellgen.errors import JobError
from shellgen.job.defaults import fill_in
from shellgen.job.model import Settings
from shellgen.job.read import read_job
from shellgen.mold.design import crossing_notes, wanted_cells
from shellgen.parting.job_planes import clear_boxes, rank_job
from shellgen.pattern.intake import take_in

DEMO = '[pattern]\ndemo = "horn-bell"\n[parting]\n'


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    """A box 60 x 40 x 20, its settings and pattern by the list of places."""
    folder = tmp_path_factory.mktemp("clear")
    trimesh.creation.box((60, 40, 20)).export(folder / "box.stl")

    def make(places, **parting):
        settings = Settings.model_validate(
            {"pattern": {"file": "box.stl"}, "parting": {"keep_clear": places, **parting}}
        )
        pattern = take_in(settings, folder)
        return fill_in(settings, pattern.bounds_mm), pattern

    return make


def test_a_side_is_its_outer_fifth_and_a_box_is_itself(taken):
    box = {"low_mm": [-1, -2, -3], "high_mm": [4, 5, 6]}
    settings, pattern = taken(["+x", box])
    (low, high), given = clear_boxes(settings, pattern.bounds_mm)
    assert high[0] - low[0] == pytest.approx(12)
    assert (high[1] - low[1], high[2] - low[2]) == pytest.approx((40, 20))
    assert given == ((-1, -2, -3), (4, 5, 6))


def test_best_plane_keeps_out_of_the_side_that_is_named(taken):
    settings, pattern = taken(["+x"], plane="best")
    ranking = rank_job(settings, pattern)
    assert ranking.planes[0].crosses == ()
    assert ranking.middle.crosses == (1,)  # across z it cuts the end face in two
    cells, notes = wanted_cells(settings, pattern, False)
    assert not any("keep_clear" in note for note in notes)
    normal, origin = cells[0].pull_to_mold[:3, 2], cells[0].pull_to_mold[:3, 3]
    heights = (trimesh.creation.box((60, 40, 20)).vertices + pattern.bounds_mm.mean(axis=0) - origin) @ normal
    at_end = trimesh.creation.box((60, 40, 20)).vertices[:, 0] > 0
    assert heights[at_end].min() > 0 or heights[at_end].max() < 0


def test_a_given_plane_through_a_place_is_told(taken):
    settings, pattern = taken(["+x"])
    assert "parting.keep_clear[1]" in crossing_notes(settings, pattern)[0]
    settings, pattern = taken(["+z"])
    assert crossing_notes(settings, pattern) == ()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('keep_clear = ["+w"]', r'parting.keep_clear = \["\+w"\]: must be a list .*a table {low_mm .*or "\+x"'),
        ("keep_clear = [{low_mm = [0, 0, 0], hihg_mm = [1, 1, 1]}]", "hihg_mm: unknown key. Did you mean .*high_mm"),
        ("keep_clear = [{low_mm = [0, 0, 0], high_mm = [1, 0, 1]}]", r"keep_clear\[1\]: low_mm = .* is not below"),
        ('kind = "radial"\nkeep_clear = ["+x"]', 'parting.keep_clear: given, but parting.kind = "radial"'),
    ],
)
def test_wrong_places_are_named_with_a_remedy(tmp_path, line, said):
    path = tmp_path / "bell.toml"
    path.write_text(DEMO + line + "\n", encoding="utf-8")
    with pytest.raises(JobError, match=said):
        read_job(path)
