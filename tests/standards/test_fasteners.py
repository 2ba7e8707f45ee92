"""Fastener tables against published values, typed here a second time; the standard's edition beside each check."""

from __future__ import annotations

import math

import pytest

from shellgen.errors import ShellgenError
from shellgen.standards.fasteners import bolt, sizes, torque_factor
from shellgen.standards.table import rows

METRIC = ("M4", "M5", "M6", "M8", "M10", "M12")


def test_sizes_are_the_eight_a_job_may_ask_for():
    assert sizes() == (*METRIC, "1/4 in", "5/16 in")


# ISO 273:1979, fine / medium / coarse
@pytest.mark.parametrize(
    ("size", "fine", "medium", "coarse"),
    [
        ("M4", 4.3, 4.5, 4.8),
        ("M5", 5.3, 5.5, 5.8),
        ("M6", 6.4, 6.6, 7.0),
        ("M8", 8.4, 9.0, 10.0),
        ("M10", 10.5, 11.0, 12.0),
        ("M12", 13.0, 13.5, 14.5),  # not 13/14/15, as one parts library has it
        # ASME B18.2.8-1999 (R2017), close / normal / loose
        ("1/4 in", 17 / 64 * 25.4, 9 / 32 * 25.4, 19 / 64 * 25.4),
        ("5/16 in", 21 / 64 * 25.4, 11 / 32 * 25.4, 23 / 64 * 25.4),
    ],
)
def test_clearance_holes(size, fine, medium, coarse):
    holes = bolt(size).hole_mm
    assert holes["fine"] == pytest.approx(fine, abs=0.005)
    assert holes["medium"] == pytest.approx(medium, abs=0.005)
    assert holes["coarse"] == pytest.approx(coarse, abs=0.005)


# ISO 4032:2001 (s, m max, e min); one table in circulation prints the heights of DIN 934 under this name
@pytest.mark.parametrize(
    ("size", "s", "m", "e"),
    [
        ("M4", 7, 3.2, 7.66),
        ("M5", 8, 4.7, 8.79),
        ("M6", 10, 5.2, 11.05),
        ("M8", 13, 6.8, 14.38),
        ("M10", 16, 8.4, 17.77),
        ("M12", 18, 10.8, 20.03),
    ],
)
def test_nuts(size, s, m, e):
    data = bolt(size)
    assert (data.nut_s_mm, data.nut_m_mm, data.nut_e_mm) == (s, m, e)
    assert data.nut_e_mm < s * 2 / math.sqrt(3)  # corners are rounded


# ISO 7089:2000 and ISO 7093-1:2000, nominal (h max)
@pytest.mark.parametrize(
    ("size", "plain", "large"),
    [
        ("M4", (4.3, 9, 0.8, 0.9), (4.3, 12, 1.0, 1.1)),
        ("M6", (6.4, 12, 1.6, 1.8), (6.4, 18, 1.6, 1.8)),
        ("M8", (8.4, 16, 1.6, 1.8), (8.4, 24, 2.0, 2.2)),
        ("M10", (10.5, 20, 2.0, 2.2), (10.5, 30, 2.5, 2.7)),
        ("M12", (13, 24, 2.5, 2.7), (13, 37, 3.0, 3.3)),
    ],
)
def test_washers(size, plain, large):
    for washer, wanted in ((bolt(size).washer, plain), (bolt(size).large_washer, large)):
        assert (washer.id_mm, washer.od_mm, washer.h_mm, washer.h_max_mm) == wanted


def test_m5_washers():
    plain, large = bolt("M5").washer, bolt("M5").large_washer
    assert (plain.id_mm, plain.od_mm, plain.h_mm, plain.h_max_mm) == (5.3, 10, 1.0, 1.1)  # ISO 7089:2000
    assert (large.id_mm, large.od_mm) == (5.3, 15)  # ISO 7093-1:2000
    assert 1.0 <= large.h_mm <= 1.2  # libraries disagree on the thickness


# ISO 4017 grade A: s, k nominal, e min, dw min
@pytest.mark.parametrize(
    ("size", "s", "k", "e", "dw"),
    [
        ("M4", 7, 2.8, 7.66, 5.88),
        ("M5", 8, 3.5, 8.79, 6.88),
        ("M6", 10, 4.0, 11.05, 8.88),
        ("M8", 13, 5.3, 14.38, 11.63),
        ("M10", 16, 6.4, 17.77, 14.63),
        ("M12", 18, 7.5, 20.03, 16.63),
    ],
)
def test_hex_heads(size, s, k, e, dw):
    head = bolt(size).head
    assert (head.key_mm, head.height_mm, head.across_corners_mm, head.bearing_mm) == (s, k, e, dw)


# ISO 4762:2004: dk plain (knurled), k, key s
@pytest.mark.parametrize(
    ("size", "plain", "knurled", "k", "key"),
    [
        ("M4", 7.0, 7.22, 4, 3),
        ("M5", 8.5, 8.72, 5, 4),
        ("M6", 10, 10.22, 6, 5),
        ("M8", 13, 13.27, 8, 6),
        ("M10", 16, 16.27, 10, 8),
        ("M12", 18, 18.27, 12, 10),
    ],
)
def test_socket_heads(size, plain, knurled, k, key):
    head = bolt(size).socket_head
    assert (head.bearing_mm, head.diameter_mm, head.height_mm, head.key_mm) == (plain, knurled, k, key)


@pytest.mark.parametrize("size", METRIC)
def test_stress_area_follows_the_thread(size):
    data = bolt(size)  # ISO 898-1: As = pi/4 (d - 0.9382 P)^2, printed to three digits
    area = math.pi / 4 * (data.d_mm - 0.9382 * data.pitch_mm) ** 2
    assert data.stress_area_mm2 == pytest.approx(area, rel=3.5e-3)


@pytest.mark.parametrize(("size", "threads_per_inch"), [("1/4 in", 20), ("5/16 in", 18)])
def test_inch_stress_area(size, threads_per_inch):
    data = bolt(size)  # ASME B1.1: 0.7854 (d - 0.9743/n)^2 in inches
    area = 0.7854 * (data.d_mm / 25.4 - 0.9743 / threads_per_inch) ** 2 * 25.4**2
    assert data.stress_area_mm2 == pytest.approx(area, rel=3e-3)
    assert data.pitch_mm == pytest.approx(25.4 / threads_per_inch, rel=1e-6)


# ISO 898-1 proof loads in N, grades 4.8 and 8.8; the table differs from As Sp by rounding
@pytest.mark.parametrize(
    ("size", "n48", "n88"),
    [
        ("M4", 2720, 5100),
        ("M5", 4400, 8230),
        ("M6", 6230, 11600),
        ("M8", 11400, 21200),
        ("M10", 18000, 33700),
        ("M12", 26100, 48900),
    ],
)
def test_proof_loads(size, n48, n88):
    data = bolt(size)
    assert data.grades == ("4.8", "8.8")
    assert data.stress_area_mm2 * data.proof_mpa["4.8"] == pytest.approx(n48, rel=7e-3)
    assert data.stress_area_mm2 * data.proof_mpa["8.8"] == pytest.approx(n88, rel=8e-3)


def test_lengths_of_stock():
    # ISO 4017 sells M6 from 12 to 60, M12 from 25 to 120; 75 is no preferred length, 90 is
    assert bolt("M6").head.lengths_mm == (12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60)
    assert bolt("M12").head.lengths_mm[0] == 25 and bolt("M12").head.lengths_mm[-1] == 120
    assert 90 in bolt("M10").head.lengths_mm and 75 not in bolt("M10").head.lengths_mm
    assert bolt("M8").socket_head.lengths_mm[:3] == (10, 12, 16)  # ISO 4762: M8 from 10
    assert bolt("1/4 in").head.lengths_mm[:2] == pytest.approx((12.7, 15.875))


def test_inserts_where_a_bore_is_tabulated():
    assert [bolt(s).insert.bore_mm for s in ("M4", "M5", "M6")] == [5.6, 6.4, 8.0]  # a hole chart, common practice
    assert all(bolt(s).insert is None for s in ("M8", "M10", "M12", "1/4 in", "5/16 in"))
    for size in ("M4", "M5", "M6"):
        insert = bolt(size).insert
        assert 0.5 <= insert.depth_mm - insert.length_mm <= 1.0 + 1e-9


def test_spanner_room_and_thread_length():
    # web table for BS 3692 heads: least pitch; ISO 4014 b = 2d + 6, ISO 4762 b = 2d + 12
    assert [bolt(s).spanner_pitch_mm for s in METRIC] == [17, 20, 24, 30, 37, 42]
    for size in METRIC:
        data = bolt(size)
        assert data.thread_length_mm == {"hex": 2 * data.d_mm + 6, "socket": 2 * data.d_mm + 12}


def test_torque_factors():  # Shigley and Mischke 5th ed. ch. 8-8
    wanted = {"unknown": 0.20, "black": 0.30, "zinc": 0.20, "lubricated": 0.18, "cadmium": 0.16}
    assert {name: torque_factor(name) for name in wanted} == wanted
    with pytest.raises(ShellgenError, match="'wet' is not in the tables"):
        torque_factor("wet")


@pytest.mark.parametrize(
    ("asked", "nearest"),
    [("M7", "M6"), ("M9", "M8"), ("M11.5", "M12"), ("3/8 in", "5/16 in"), ("big", "M6"), ("M3", "M4")],
)
def test_unknown_size_names_the_nearest(asked, nearest):
    with pytest.raises(ShellgenError, match=f"'{asked}' is not in the tables.*nearest is '{nearest}'"):
        bolt(asked)


@pytest.mark.parametrize("size", sizes())
def test_dimensions_fit_together(size):
    data = bolt(size)
    assert data.d_mm < data.hole_mm["fine"] < data.hole_mm["medium"] < data.hole_mm["coarse"]
    for washer in (data.washer, data.large_washer):
        assert data.d_mm < washer.id_mm < washer.od_mm
        assert washer.h_mm < washer.h_max_mm
        assert washer.od_mm > data.nut_s_mm
    assert data.large_washer.od_mm > data.washer.od_mm
    assert data.spanner_pitch_mm > data.nut_e_mm


@pytest.mark.parametrize(
    "table",
    [
        "threads",
        "clearance_holes",
        "nuts",
        "washers",
        "heads",
        "lengths",
        "inserts",
        "grades",
        "torque_factors",
        "materials",
        "cautions",
    ],
)
def test_every_row_names_its_source_and_how_it_was_confirmed(table):
    assert rows(table)
    for entry in rows(table):
        assert len(entry["source"]) > 8
        assert entry["how"] in {"X", "R", "C", "M", "P"}
