"""Materials and cautions against the published figures they are taken from."""

from __future__ import annotations

import pytest

from shellgen.errors import ShellgenError
from shellgen.standards.cautions import DEFER, cautions, cautions_for
from shellgen.standards.materials import material, material_names, materials


def test_density_of_printed_plastics():  # Processes 2025 13:2733
    assert material("petg").density_g_cm3 == 1.27
    assert material("pla").density_g_cm3 == 1.25


def test_printed_modulus_lies_in_the_published_range():
    # PLA 1.8-3.5 GPa, PETG 1.2-2.0 GPa as printed, range of studies, common practice
    assert 1200 <= material("petg").modulus_mpa <= 2000
    assert 1800 <= material("pla").modulus_mpa <= 3500


def test_laminate_by_rule_of_mixtures():
    # 450 g/m2 mat, glass 0.30 by mass, glass 2.56 and resin 1.2 g/cm3; 14 000 N/mm per kg/m2 of glass (BS 4994)
    fraction, glass, resin = 0.30, 2.56, 1.2
    thickness = 0.45 * (1 / glass + (1 - fraction) / fraction / resin)
    assert thickness == pytest.approx(1.051, abs=5e-4)
    assert material("laminate").density_g_cm3 == pytest.approx(0.45 / fraction / thickness, abs=5e-4)
    assert material("laminate").modulus_mpa == pytest.approx(14000 * 0.45 / thickness, rel=2e-4)


def test_silicone_modulus_by_gent():  # Gent 1958, Shore A 20: 0.732 MPa
    shore = 20
    modulus = 0.0981 * (56 + 7.62336 * shore) / (0.137505 * (254 - 2.54 * shore))
    assert material("silicone").modulus_mpa == pytest.approx(modulus, abs=5e-4)


def test_board_values():
    assert material("mdf").modulus_mpa == 2200  # EN 622-5:2009, over 12 to 19 mm
    assert 0.4 <= material("tooling-board").density_g_cm3 <= 0.8  # common practice, no source


@pytest.mark.parametrize("name", material_names())
def test_ranges_hold_the_value(name):
    entry = material(name)
    assert entry.modulus_low_mpa <= entry.modulus_mpa <= entry.modulus_high_mpa
    assert 0.3 < entry.density_g_cm3 < 10
    assert (entry.bearing_mpa > 0) == (entry.use != "rubber")


def test_names_are_unique_and_sorted_by_use():
    assert len(set(material_names())) == len(materials())
    assert {"petg", "pla", "laminate", "tooling-board"} <= set(material_names("shell"))
    assert "silicone" in material_names("rubber") and "casting-resin" in material_names("cast")


def test_unknown_material_names_the_nearest():
    with pytest.raises(ShellgenError, match=r"'lamnate' is not in the table.*Did you mean 'laminate'"):
        material("lamnate")
    with pytest.raises(ShellgenError, match="'qqqq' is not in the table"):
        material("qqqq")


def test_cautions_cover_the_hazards_and_defer():
    keys = {c.key for c in cautions()}
    assert {"isocyanates", "styrene", "peroxide", "dust", "exotherm", "lifting", "inhibition"} <= keys
    for caution in cautions():
        assert caution.text.endswith(DEFER)
        assert len(caution.says) > 40
    assert "safety data sheet" in DEFER and "local rules" in DEFER and "licensed" in DEFER


def test_caution_figures():
    by_key = {c.key: c for c in cautions()}
    assert "0.02 ppm" in by_key["isocyanates"].text  # CDC NIOSH page, CAS 101-68-8
    assert "0.1 % of diisocyanate" in by_key["isocyanates"].text  # REACH Annex XVII entry 74
    assert "31 C" in by_key["styrene"].text  # NIOSH Pocket Guide, 88 F
    assert "0.2 ppm" in by_key["peroxide"].text  # CDC NIOSH, CAS 1338-23-4
    assert "15 mg/m3 total, 5 respirable" in by_key["dust"].text  # 29 CFR 1910.1000


def test_cautions_by_work():
    assert [c.key for c in cautions_for(["polyester"])] == ["styrene", "peroxide"]
    assert cautions_for(["knitting"]) == ()
