"""The starter file: every key is in it and documented, it parses as it is and with every # taken away."""

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shellgen.job.defaults import choices
from shellgen.job.keys import job_keys, piece_keys, plane_keys, table_meanings
from shellgen.job.model import Settings
from shellgen.job.starter import quoted, starter_text, written
from shellgen.standards.materials import material_names

CHOSEN = {
    "name": "finial",
    "pattern.file": "finial.stl",
    "mount.kind": "board",
    "parting.plane": {"angle_deg": 90.0},
    "jacket.thickness_mm": 7.5,
}
BOUNDS = [[0, 0, 0], [100, 60, 380]]


def text() -> str:
    return starter_text(CHOSEN, ["the numbers of the file are mm."], choices(Settings(), BOUNDS), "finial.toml")


def test_chosen_values_are_read_back():
    settings = Settings.model_validate(tomllib.loads(text()))
    assert (settings.name, settings.pattern.file, settings.mount.kind) == ("finial", "finial.stl", "board")
    assert settings.parting.plane.angle_deg == 90
    assert settings.jacket.thickness_mm == 7.5


def test_all_else_is_left_to_the_defaults():
    settings = Settings.model_validate(tomllib.loads(text()))
    default = Settings()
    assert settings.flange == default.flange
    assert settings.outputs == default.outputs
    assert settings.pieces == {}


def test_with_every_key_set_it_is_still_valid():
    bare = re.sub(r"^# (?=\[pieces\.A\]$|\w+ = )", "", text(), flags=re.M)
    data = tomllib.loads(bare)
    settings = Settings.model_validate(data)
    assert settings.flange.width_mm == 16
    assert settings.pieces["A"].wall_mm == 8
    given_keys = {f"{table}.{key}" for table, keys in data.items() if isinstance(keys, dict) for key in keys}
    assert {key.dotted for key in job_keys() if "." in key.dotted} <= given_keys


@pytest.mark.parametrize("key", [*job_keys()[1:], *piece_keys()], ids=lambda key: key.dotted)
def test_each_key_stands_under_its_meaning_and_what_it_takes(key):
    if key.dotted == "pieces":
        assert "# [pieces.A]" in text()
        return
    start = text().index(f"[{key.table}]")
    part = re.split(r"\n#? ?\[", text()[start:])[0]
    match = re.search(rf"((?:^# .*\n)+?)(?:# )?{key.leaf} = ", part.replace("\n\n", "\n;\n"), flags=re.M)
    comment = " ".join(line.removeprefix("# ") for line in match[1].splitlines())
    assert key.meaning in comment
    assert key.takes in comment
    assert not key.leaf.endswith("_mm") or "in mm" in comment
    assert not key.leaf.endswith("_deg") or "in degrees" in comment


def test_every_key_of_the_model_has_a_meaning():
    for key in (*job_keys(), *piece_keys(), *plane_keys()):
        assert len(key.meaning) > 8, key.dotted
        assert key.meaning.endswith((".", "...")), key.dotted
    assert all(table_meanings().values())


def test_material_key_names_every_shell_material():
    meaning = next(key.meaning for key in job_keys() if key.dotted == "shell.material")
    assert all(name in meaning for name in material_names("shell"))


def test_what_was_assumed_stands_at_the_head():
    assert "# Assumed: the numbers of the file are mm." in text()[: text().index("[pattern]")]


@given(st.text())
def test_any_text_is_quoted_so_that_toml_reads_it_back(value):
    assert tomllib.loads(f"x = {quoted(value)}")["x"] == value


@given(st.one_of(st.booleans(), st.integers(-(10**15), 10**15), st.floats(allow_nan=False), st.lists(st.floats(0, 9))))
def test_any_value_is_written_so_that_toml_reads_it_back(value):
    assert tomllib.loads(f"x = {written(value)}")["x"] == value
