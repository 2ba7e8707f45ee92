"""Reading job files: every wrong key is named with its value and a remedy, and nothing but JobError comes out."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shellgen.errors import JobError
from shellgen.job.keys import job_keys
from shellgen.job.read import read_job

DEMO = '[pattern]\ndemo = "horn-bell"\n'


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "finial.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_least_job_is_named_after_its_file(tmp_path):
    job = read_job(written(tmp_path, DEMO))
    assert job.settings.name == "finial"
    assert job.settings.pattern.demo == "horn-bell"
    assert job.base == tmp_path


def test_name_in_the_file_wins(tmp_path):
    assert read_job(written(tmp_path, 'name = "Bell 2"\n' + DEMO)).settings.name == "Bell 2"


def test_odd_file_name_still_gives_a_name(tmp_path):
    path = tmp_path / "_ä b!.toml"
    path.write_text(DEMO)
    assert read_job(path).settings.name == "b"


@pytest.mark.parametrize("plane", ['"middle"', '"best"', "{normal = [1, 2, 0]}", "{angle_deg = 30, offset_mm = -2.5}"])
def test_every_form_of_plane_is_accepted(tmp_path, plane):
    job = read_job(written(tmp_path, f'{DEMO}[mount]\nkind = "board"\n[parting]\nplane = {plane}\n'))
    shown = job.settings.parting.plane
    assert shown == plane.strip('"') or shown.normal == (1, 2, 0) or (shown.angle_deg, shown.offset_mm) == (30, -2.5)


def test_byte_order_mark_and_windows_line_ends_are_accepted(tmp_path):
    assert read_job(written(tmp_path, b"\xef\xbb\xbf" + DEMO.replace("\n", "\r\n").encode())).settings.name == "finial"


WRONG_KEYS = [
    ("[flange]\nwidht_mm = 3", "flange.widht_mm: unknown key. Did you mean flange.width_mm?"),
    ("[jacket]\nwall_mm = 3", "jacket.wall_mm: unknown key. Did you mean shell.wall_mm?"),
    ("thickness_mm = 3", "thickness_mm: unknown key. Did you mean jacket.thickness_mm or flange.thickness_mm?"),
    ("[jackett]\nkeys = true", "jackett: unknown key. Did you mean jacket?"),
    ("[raster]\nzebra = 3", "raster.zebra: unknown key. [raster] takes pitch_mm."),
    ('"a b" = 3', "a b: unknown key. The tables of a job file are pattern, mount, "),
    ("[pieces.A]\nwal = 3", "pieces.A.wal: unknown key. Did you mean pieces.A.wall_mm?"),
    ("[parting]\nplane = {norml = [1, 0, 0]}", "parting.plane.norml: unknown key. Did you mean parting.plane.normal?"),
    (
        "[parting]\nplanes = [{norml = 1}]",
        "parting.planes[1].norml: unknown key. Did you mean parting.planes[1].normal?",
    ),
    ("[jacket]\nthickness_mm = -3", "jacket.thickness_mm = -3: must be a number from 1 to 60. Give 1 or more."),
    ("[jacket]\nthickness_mm = 99.5", "jacket.thickness_mm = 99.5: must be a number from 1 to 60. Give 60 or less."),
    ("[jacket]\nthickness_mm = inf", "jacket.thickness_mm = inf: must be a number from 1 to 60. Give 60 or less."),
    ("[jacket]\nthickness_mm = true", "jacket.thickness_mm = true: must be a number from 1 to 60."),
    ("[jacket]\ndraft_deg = 0x" + "f" * 5000, "jacket.draft_deg = inf: must be a number from 0.5 to 15."),
    ("[jacket]\nclearance_mm = nan", "jacket.clearance_mm = nan: must be a number, 0 or more."),
    ("[jacket]\nkey_height_mm = 0", "jacket.key_height_mm = 0: must be a number above 0. Give more than 0."),
    (
        '[jacket]\ndraft_deg = "3"',
        'jacket.draft_deg = "3": must be a number from 0.5 to 15. Write 3 without the quotes.',
    ),
    ('[jacket]\nkeys = "true"', 'jacket.keys = "true": must be true or false. Write true without the quotes.'),
    ("[jacket]\nkeys = 1", "jacket.keys = 1: must be true or false. It is for: domes on the rubber"),
    ('[jacket]\nmethod = "bru"', 'jacket.method = "bru": must be "brush" or "pour". Did you mean "brush"?'),
    ("[parting]\npieces = 3.5", "parting.pieces = 3.5: must be a whole number from 3 to 6."),
    ('[parting]\nplane = "midle"', 'parting.plane = "midle": must be "middle" or "best", or a table {normal'),
    (
        '[parting]\nplane = {normal = [0, 1, "a"]}',
        'parting.plane.normal = [0, 1, "a"]: must be three numbers [x, y, z].',
    ),
    (
        "[parting]\nplanes = [{angle_deg = 1}, {angle_deg = inf}]",
        "parting.planes[2].angle_deg = inf: must be a number.",
    ),
    ('[bolts]\npitch_mm = "aut"', 'must be a number above 0, or "auto". Did you mean "auto"?'),
    ('[bolts]\nsize = "M7"', 'bolts.size = "M7": must be "M4", "M5", "M6", "M8", "M10", "M12", "1/4 in" or "5/16 in".'),
    ("[limits]\nbed_mm = [200, 200]", "limits.bed_mm = [200, 200]: must be three numbers [x, y, z]."),
    ("parting = 3", "parting = 3: must be a table, written as [parting] with its keys below."),
    ("[pieces]\nA = 3", "pieces = {A = 3}: must be tables named A, B"),
    ("name = 3", "name = 3: must be a name of up to 60 letters"),
    ('name = "../x"', 'name = "../x": must be a name of up to 60 letters, digits, spaces and . _ -'),
    ("[pattern]\ndemo = true", 'pattern.demo = true: must be "gate-finial" or "horn-bell".'),
]


@pytest.mark.parametrize(("text", "said"), WRONG_KEYS, ids=[case[0][:30].replace("\n", " ") for case in WRONG_KEYS])
def test_wrong_key_is_named_with_value_and_remedy(tmp_path, text, said):
    with pytest.raises(JobError, match=re.escape("finial.toml: ") + ".*" + re.escape(said)):
        read_job(written(tmp_path, text))


BROKEN_RULES = [
    ('[pattern]\nfile = "a.stl"\ndemo = "horn-bell"', "pattern.file and pattern.demo are both given"),
    ("", 'pattern.file: missing. Give the mesh, such as file = "finial.stl", or demo = "gate-finial".'),
    ('[pattern]\nfile = " "', 'pattern.file = "": empty.'),
    (
        DEMO + 'units = "cm"\nlongest_side_mm = 90',
        'pattern.units = "cm" and pattern.longest_side_mm = 90: both set the size.',
    ),
    (
        DEMO + "scale = 2\nlongest_side_mm = 90",
        "pattern.scale = 2 and pattern.longest_side_mm = 90: both set the size.",
    ),
    (DEMO + "[mount]\ncut_mm = 3", 'mount.cut_mm = 3: only a pattern on a board is cut flat, and mount.kind = "none".'),
    (DEMO + "[parting]\nplane = {normal = [1, 0, 0], angle_deg = 3}", "parting.plane: both normal and angle_deg"),
    (DEMO + "[parting]\nplane = {offset_mm = 3}", "parting.plane: no direction. Give normal = [x, y, z] or angle_deg"),
    (DEMO + "[parting]\nplane = {normal = [0, 0, 0]}", "parting.plane.normal = [0, 0, 0]: points nowhere."),
    (DEMO + "[parting]\nplane = {normal = [nan, 0, 0]}", "parting.plane.normal = [nan, 0, 0]: must be three finite"),
    (
        DEMO + '[mount]\nkind = "board"\n[parting]\nplane = {normal = [0.6, 0, 0.8]}',
        "parting.plane.normal = [0.6, 0, 0.8]: on a board the plane must .*z must be 0. .*[0.6, 0, 0]",
    ),
    (
        DEMO + '[mount]\nkind = "stem"\n[parting]\nplane = {normal = [0, 0, 1]}',
        "parting.plane.normal = [0, 0, 1]: on a stem the plane must stand upright, so z must be 0. Give [1, 0, 0]",
    ),
    (DEMO + '[parting]\nkind = "planes"', 'parting.kind = "planes" needs planes.'),
    (
        DEMO + "[parting]\nplanes = [{angle_deg = 3}]",
        'parting.planes: given, but parting.kind = "plane" does not read it',
    ),
    (DEMO + '[shell]\nmaterial = "pets"', 'shell.material = "pets": must be one of petg, pla, .*Did you mean "petg"?'),
    (
        DEMO + "[flange]\nthickness_mm = 4",
        "flange.thickness_mm = 4: thinner than the wall, shell.wall_mm = 6. Give 6 or more, or a thinner wall.",
    ),
    (DEMO + "[flange]\nthickness_mm = 7\n[pieces.B]\nwall_mm = 9", "thinner than the wall, pieces.B.wall_mm = 9."),
    (DEMO + "[pieces.C]\nwall_mm = 9", "pieces.C: no such piece. The pieces of this job are A to B."),
    (
        DEMO + '[parting]\nkind = "radial"\npieces = 4\n[pieces.E]',
        "pieces.E: no such piece. The pieces of this job are A to D.",
    ),
    (DEMO + "[limits]\nbed_mm = [200, 0, 200]", "limits.bed_mm = [200, 0, 200]: must be three numbers above 0"),
    ('name = "README.md"\n' + DEMO, 'name = "README.md": outputs/README.md is kept for the project.'),
    ('name = "bell."\n' + DEMO, 'name = "bell.": a folder\'s name cannot end so.'),
]


@pytest.mark.parametrize(("text", "said"), BROKEN_RULES, ids=[case[1][:40] for case in BROKEN_RULES])
def test_keys_that_do_not_fit_together_are_refused(tmp_path, text, said):
    with pytest.raises(JobError, match=".*".join(map(re.escape, said.split(".*")))):
        read_job(written(tmp_path, text))


SYNTAX = [
    ("[jacket]\nkeys =\n", "line 2, column 7: not TOML: invalid value."),
    (
        "x = [",
        "the end of the file: not TOML: invalid value. A value is missing, or a bracket or quote left open, in line 1",
    ),
    ("[pattern]\nfile = finial.stl", 'line 2, column 8: not TOML: invalid value. A text needs quotes: key = "text".'),
    ('[pattern]\nfile = "C:\\models\\x.stl"', "line 2, column 13: not TOML: .* In a path write / instead of \\."),
    ("\x00", "line 1, column 1: not TOML: invalid statement."),
    ("[jacket]\n[jacket]", "line 2, column 8: not TOML: cannot declare"),
    ("x = " + "[" * 5000, "is nested too deep for a job file."),
    (".".join("a" * 3000) + " = 1", "is nested too deep for a job file."),
    ("x = " + "9" * 5000, "is not TOML: a number or a date in it is out of all range."),
    ("x = 1979-13-27", "line 1, column 9: not TOML: expected newline"),
]


@pytest.mark.parametrize(("text", "said"), SYNTAX, ids=[case[0][:20].replace("\n", " ") for case in SYNTAX])
def test_syntax_errors_name_the_place(tmp_path, text, said):
    with pytest.raises(JobError, match="finial.toml: " + ".*".join(map(re.escape, said.split(".*")))):
        read_job(written(tmp_path, text))


def test_all_errors_are_listed_up_to_five(tmp_path):
    text = "[jacket]\n" + "".join(f"zz{i} = 1\n" for i in range(8)) + "draft_deg = 0\n"
    with pytest.raises(JobError) as caught:
        read_job(written(tmp_path, text))
    lines = str(caught.value).splitlines()
    assert len(lines) == 6
    assert lines[0] == "finial.toml: jacket.draft_deg = 0: must be a number from 0.5 to 15. Give 0.5 or more."
    assert lines[-1] == "finial.toml: and 4 more."


def test_missing_file_names_the_nearest(tmp_path):
    written(tmp_path, DEMO)
    with pytest.raises(JobError, match=r"finail\.toml: not found\. Did you mean .*finial\.toml\?"):
        read_job(tmp_path / "finail.toml")
    with pytest.raises(JobError, match=r"finial: not found\. Did you mean .*finial\.toml\?"):
        read_job(tmp_path / "finial")
    with pytest.raises(
        JobError, match=r"zebra\.toml: not found\. Make a job file for a mesh with: shellgen start MESH"
    ):
        read_job(tmp_path / "zebra.toml")
    with pytest.raises(JobError, match="not found: there is no folder"):
        read_job(tmp_path / "no" / "job.toml")


def test_what_is_not_a_job_file_is_refused(tmp_path):
    with pytest.raises(JobError, match=r"is a folder\. Give the job file in it"):
        read_job(tmp_path)
    (tmp_path / "bell.stl").write_bytes(b"solid")
    with pytest.raises(
        JobError, match=r"bell.stl: is a mesh, not a job file. Make one with: shellgen start .*bell.stl"
    ):
        read_job(tmp_path / "bell.stl")
    with pytest.raises(JobError, match=r"is not UTF-8 text \(byte 8\). Save it again as UTF-8."):
        read_job(written(tmp_path, b'name = "\xff"'))
    with pytest.raises(JobError, match="it should be a text file of a few kilobytes"):
        read_job(written(tmp_path, b"#" * 1_000_001))
    with pytest.raises(JobError, match=r"cannot be read|not found"):
        read_job("\0")
    with pytest.raises(JobError, match="cannot be read"):
        read_job("x" * 5000)


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_give_a_job_or_a_job_error(tmp_path, data):
    path = written(tmp_path, data)
    with pytest.raises(JobError):  # no random bytes make a job: a pattern is needed
        read_job(path)


VALUES = st.recursive(
    st.one_of(
        st.booleans().map(lambda b: "true" if b else "false"),
        st.integers().map(str),
        st.floats().map(lambda f: str(f)),
        st.sampled_from(['"M6"', '"middle"', '"auto"', '"\\u0000"', '""', "1979-05-27T07:32:00Z", "07:32:00", "1e999"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(st.sampled_from(["normal", "angle_deg", "x", "A"]), inner, max_size=3).map(
            lambda d: "{" + ", ".join(f"{k} = {v}" for k, v in d.items()) + "}"
        ),
    ),
    max_leaves=6,
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.dictionaries(st.sampled_from([key.dotted for key in job_keys()]), VALUES, min_size=1, max_size=6))
def test_any_value_of_any_key_gives_a_job_or_one_line_for_each_error(tmp_path, pairs):
    path = written(tmp_path, "".join(f"{key} = {value}\n" for key, value in pairs.items()))
    try:
        assert read_job(path).settings.pattern
    except JobError as error:
        lines = str(error).splitlines()
        assert 1 <= len(lines) <= 6
        assert all(line.startswith("finial.toml: ") and len(line) < 500 for line in lines)
