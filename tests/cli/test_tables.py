"""The closing tables: every part, every check, and a warning nobody can miss when one failed."""

import io

from rich.console import Console

from shellgen.cli.tables import build_blocks, failures, figure

CHECKS = [
    {
        "id": "watertight",
        "title": "watertight",
        "status": "pass",
        "value": 4,
        "limit": 4,
        "unit": "",
        "says": "All 4 are.",
    },
    {
        "id": "lift",
        "title": "mass to lift",
        "status": "warn",
        "value": 27.25,
        "limit": 23,
        "unit": "kg",
        "says": "Lift by two.",
    },
]
FAILED = {
    "id": "wall",
    "title": "wall thickness",
    "status": "fail",
    "value": 3.912,
    "limit": 6.0,
    "unit": "mm",
    "says": "half-a is thin at (1, 2, 3).",
}


def manifest(*checks: dict) -> dict:
    return {
        "job": {"name": "bell"},
        "parts": [
            {
                "name": "half-a",
                "kind": "shell",
                "bbox_mm": [[0, 0, 0], [10, 20.4, 300]],
                "volume_cm3": 812.3,
                "mass_g": 1031.6,
            },
            {
                "name": "jacket",
                "kind": "jacket",
                "bbox_mm": [[0, 0, 0], [9, 9, 9]],
                "volume_cm3": 55.25,
                "mass_g": 60.7,
            },
        ],
        "bolts": [{"size": "M6"}, {"size": "M6"}],
        "quantities": {"fill_cm3": 12.5},
        "checks": list(checks),
    }


def printed(found: dict) -> str:
    console = Console(file=io.StringIO(), width=140)
    for block in build_blocks(found):
        console.print(block)
    return console.file.getvalue()


def test_parts_are_listed_with_size_volume_and_mass():
    text = printed(manifest(*CHECKS))
    line = next(line for line in text.splitlines() if "half-a" in line)
    assert [cell.strip() for cell in line.strip("│").split("│")] == [
        "half-a",
        "shell",
        "10 x 20 x 300",
        "812.3",
        "1.03 kg",
    ]


def test_rubber_and_bolts_are_summed():
    text = printed(manifest(*CHECKS))
    assert "Rubber: 55.25 cm3, 60.7 g. Of it 12.5 cm3 fills" in text
    assert "Bolts: 2, M6." in text


def test_every_check_stands_with_status_value_and_limit():
    text = printed(manifest(*CHECKS, FAILED))
    line = next(line for line in text.splitlines() if "wall thickness" in line)
    cells = [cell.strip() for cell in line.strip("│").split("│")]
    assert cells == ["fail", "wall thickness", "3.91 mm", "6 mm", "half-a is thin at (1, 2, 3)."]
    assert "27.25 kg" in text


def test_failed_check_is_loud_and_a_good_build_is_not():
    assert "DO NOT MAKE" not in printed(manifest(*CHECKS))
    text = printed(manifest(*CHECKS, FAILED))
    assert "DO NOT MAKE" in text
    assert "1 check failed: wall thickness (half-a is thin at (1, 2, 3))." in text
    assert failures(manifest(FAILED, FAILED)).startswith("2 checks failed: ")


def test_square_brackets_in_a_name_are_printed_as_they_are():
    found = manifest({**FAILED, "says": "[bold]half[/bold] a"})
    assert "[bold]half[/bold] a" in printed(found)


def test_figures_keep_about_three_digits():
    assert [figure(v, "mm") for v in (0.0, 0.034, 12.5, 250.0, 12345.6)] == [
        "0 mm",
        "0.03 mm",
        "12.5 mm",
        "250 mm",
        "12346 mm",
    ]
    assert figure(None, "mm") == "-"
