"""Each check passes on a sound mold made by hand, and fails on the same mold broken in its way."""

from dataclasses import replace

import numpy as np
import pytest
from handmade import Plan, handmade, replace_settings, settings

from shellgen.checks import (
    bolt_axes,
    bolt_seats,
    bulges,
    closed,
    draws,
    fills,
    handling,
    holes,
    jacket_keys,
    one_way,
    overlap,
    rubber,
    wall,
)
from shellgen.checks.bench import Bench, own_settings
from shellgen.checks.run import CHECKS, run_checks


@pytest.fixture(scope="module")
def sound():
    return handmade()


@pytest.fixture(scope="module")
def findings(sound):
    return {finding.id: finding for finding in run_checks(sound)}


def finding(check, plan):
    return check(Bench(handmade(plan)))


def with_part(mold, name, **changes):
    return replace(mold, parts=tuple(replace(p, **changes) if p.name == name else p for p in mold.parts))


def test_a_sound_mold_passes_every_check(findings):
    assert len(findings) == len(CHECKS) == 15
    assert {f.id: f.says for f in findings.values() if f.status != "pass"} == {}
    assert all(f.title and f.says for f in findings.values())


def test_the_same_mold_gives_the_same_findings(sound, findings):
    assert run_checks(sound) == tuple(findings.values())


def test_figures_of_the_sound_mold_are_those_it_was_made_with(findings):
    plan = Plan()
    assert findings["rubber"].value == pytest.approx(plan.thickness + plan.margin, abs=0.02)
    assert findings["wall"].value == pytest.approx(plan.wall, abs=0.02)
    assert findings["bulges"].value == pytest.approx(plan.margin, abs=0.05)
    assert findings["holes"].value == 12
    assert findings["bolt-axes"].value < 1e-6
    assert findings["fills"].value == 0


def test_a_loose_chip_is_a_second_body():
    found = finding(closed.check, Plan(loose_chip=True))
    assert found.status == "fail"
    assert "shell A has 2 bodies, the smallest of 27.0" in found.says


def test_an_open_part_stops_the_inspection(sound):
    faces = sound.parts[0].faces
    found = run_checks(with_part(sound, "shell A", faces=faces[1:]))
    assert [f.id for f in found] == ["closed"]
    assert found[0].status == "fail"
    assert "shell A is not a closed" in found[0].says


def test_an_empty_part_is_said(sound):
    found = run_checks(with_part(sound, "jacket", faces=np.empty((0, 3), np.int32)))
    assert found[0].status == "fail"
    assert "jacket" in found[0].says


def test_a_false_claim_of_volume_is_found(sound):
    found = closed.check(Bench(with_part(sound, "shell B", volume_mm3=1.01 * sound.parts[1].volume_mm3)))
    assert found.status == "fail"
    assert "claims" in found.says


def test_a_hole_that_is_not_drilled_through_changes_the_count():
    found = finding(holes.check, Plan(blind_hole=True))
    assert (found.status, found.value, found.limit) == ("fail", 11, 12)


def test_a_blind_hole_stops_the_bolt():
    found = finding(bolt_axes.check, Plan(blind_hole=True))
    assert found.status == "fail"
    assert "in its way" in found.says


def test_a_boss_into_the_neighbour_overlaps():
    found = finding(overlap.check, Plan(overlap=2.0))
    assert found.status == "fail"
    assert found.value == pytest.approx(np.pi * 25 * 2.0, rel=0.02)  # a disc of 5 mm radius, 2 mm deep
    assert "shell A and shell B" in found.says


def test_slivers_in_the_rubber_are_said_and_do_no_harm():
    # a pin of 1 mm radius reaches through the gap of 0.5 mm and 0.8 mm into the rubber: pi * 0.8 = 2.5 mm3
    found = finding(overlap.check, Plan(pin=0.8))
    assert found.status == "warn"
    assert found.value == pytest.approx(np.pi * 0.8, rel=0.15)
    assert "slivers" in found.says
    deep = finding(overlap.check, Plan(pin=3.0))
    assert deep.status == "fail"
    assert deep.value == pytest.approx(np.pi * 3.0, rel=0.05)


def test_a_bump_under_a_ledge_of_rubber_does_not_draw():
    plan = Plan(undercut=4.0)
    assert finding(overlap.check, plan).status == "pass"
    found = finding(draws.check, plan)
    assert found.status == "fail"
    assert "shell A meets jacket" in found.says


def test_the_other_way_out_does_not_draw(sound):
    pull = tuple(-x for x in sound.parts[1].pull)
    found = draws.check(Bench(with_part(sound, "shell B", pull=pull)))
    assert found.status == "fail"
    assert "shell B meets" in found.says


def test_a_pull_askew_does_not_draw(sound):
    lean = np.radians(15.0)  # by hand: the wall gains 1.6 mm on a sphere of 48.5, the gap is 0.5
    found = draws.check(Bench(with_part(sound, "shell A", pull=(np.cos(lean), np.sin(lean), 0.0))))
    assert found.status == "fail"


def test_a_part_left_out_of_the_assembly_is_said(sound):
    found = draws.check(Bench(replace(sound, design=replace(sound.design, assembly=("shell A",)))))
    assert found.status == "fail"
    assert "leaves out shell B" in found.says


def test_a_thorn_of_the_shell_thins_the_rubber():
    found = finding(rubber.check, Plan(thin_rubber=1.0))
    assert found.status == "fail"
    assert found.value == pytest.approx(7.0, abs=0.02)
    assert "under shell A" in found.says


def test_rubber_short_by_a_hair_warns():
    found = finding(rubber.check, Plan(thin_rubber=0.06))
    assert found.status == "warn"
    assert found.value == pytest.approx(7.94, abs=0.02)


def test_a_piece_of_its_own_thickness_is_held_to_it(sound):
    own = settings(Plan(), pieces={"A": {"thickness_mm": 9.0}})
    found = rubber.check(Bench(replace_settings(sound, own)))
    assert (found.status, found.limit) == ("fail", 9.0)
    assert "under shell A" in found.says


def test_a_dent_thins_the_wall():
    found = finding(wall.check, Plan(dent=2.5))
    assert found.status == "fail"
    assert found.value == pytest.approx(3.5, abs=0.1)


def test_a_shift_of_half_a_millimetre_is_measured():
    found = finding(bolt_axes.check, Plan(shift_hole_b=0.5))
    assert found.status == "fail"
    assert found.value == pytest.approx(0.5, abs=0.01)


def test_a_hole_of_the_wrong_size_is_measured(sound):
    bolts = tuple(replace(b, hole_mm=7.2) for b in sound.design.bolts)
    found = bolt_axes.check(Bench(replace(sound, design=replace(sound.design, bolts=bolts))))
    assert found.status == "fail"
    assert "hole of 6.6 mm in shell A, designed 7.2" in found.says


def test_a_notch_near_a_hole_is_too_near_an_edge():
    plan = Plan(notch=True)
    found = finding(bolt_seats.check_edges, plan)
    assert found.status == "fail"
    assert found.value == pytest.approx(plan.hole / 2 + 0.8, abs=0.05)
    assert finding(bolt_seats.check_seats, plan).status == "fail"


def test_a_boss_in_the_way_of_a_washer_is_found():
    found = finding(bolt_seats.check_seats, Plan(boss=True))
    assert found.status == "fail"
    assert "in the way of its washer" in found.says


def test_keys_opposite_each_other_register_two_ways():
    found = finding(one_way.check, Plan(key_angles=(10.0, 190.0)))
    assert found.status == "fail"
    assert "turned half round" in found.says


def test_without_keys_the_halves_close_in_many_ways():
    found = finding(one_way.check, Plan(key_angles=()))
    assert found.status == "fail"
    assert found.value < one_way.LIMIT_MM3


def test_without_bolts_nothing_holds_the_pieces(sound):
    found = one_way.check(Bench(replace(sound, design=replace(sound.design, bolts=()))))
    assert found.status == "fail"


def test_thick_rubber_at_the_bulges_is_measured():
    found = finding(bulges.check, Plan(thick_outside=1.0))
    assert found.status == "fail"
    assert found.value == pytest.approx(1.0 + Plan().margin, abs=0.05)


def test_just_over_the_limit_asks_for_a_finer_raster():
    found = finding(bulges.check, Plan(margin=0.35))
    assert found.status == "warn"
    assert "raster.pitch_mm" in found.says


def test_a_lump_is_listed_with_volume_and_place():
    plan = Plan(lump=12.0)
    found = finding(fills.check, plan)
    # a cylinder of 9 mm radius that stands 12 mm over a sphere of 48.15 mm (its cap: pi h^2 (3 r - h) / 3)
    cap = 48.15 - np.sqrt(48.15**2 - 81)
    by_hand = np.pi * 81 * (12 - 0.15 + cap) - np.pi * cap**2 * (3 * 48.15 - cap) / 3
    # what lies within 0.5 mm and a third of the raster's step of the asked thickness does not count
    assert found.value == pytest.approx((by_hand - np.pi * 81 * 0.5) / 1000, rel=0.08)
    assert found.status == "pass"
    assert "cm³ at (5" in found.says


def test_two_jacket_keys_are_too_few():
    found = finding(jacket_keys.check, Plan(jacket_key_count=2))
    assert (found.status, found.value) == ("fail", 2)


def test_keys_that_are_only_on_paper_do_not_count(sound):
    moved = tuple(replace(k, at_mm=tuple(-np.array(k.at_mm)[[0, 2, 1]])) for k in sound.design.jacket_keys)
    found = jacket_keys.check(Bench(replace(sound, design=replace(sound.design, jacket_keys=moved))))
    assert (found.status, found.value) == ("fail", 0)


def test_no_jacket_keys_by_the_job_warns(sound):
    off = settings(Plan(), jacket={"thickness_mm": 8, "clearance_mm": 0.5, "keys": False})
    assert jacket_keys.check(Bench(replace_settings(sound, off))).status == "warn"


def test_a_small_bed_warns_by_default_and_fails_when_asked(sound):
    assert handling.check_bed(Bench(sound)).status == "pass"
    small = settings(Plan(), limits={"bed_mm": [100, 100, 100]})
    found = handling.check_bed(Bench(replace_settings(sound, small)))
    assert found.status == "fail"
    assert "shell A" in found.says
    assert handling.check_bed(Bench(handmade(Plan(ball=95, segments=64)))).status == "warn"


def test_mass_is_that_of_the_volumes(sound):
    found = handling.check_lift(Bench(sound))
    # densities of the tables: printed PETG 1.27, silicone 1.10 g/cm3
    by_hand = (1.27 * (sound.parts[0].volume_mm3 + sound.parts[1].volume_mm3) + 1.10 * sound.parts[2].volume_mm3) / 1e6
    assert found.value == pytest.approx(by_hand, rel=1e-9)
    heavy = settings(Plan(), limits={"lift_kg": 0.5})
    assert handling.check_lift(Bench(replace_settings(sound, heavy))).status == "fail"


def test_settings_of_a_piece_are_found_by_its_letter():
    pieces = settings(Plan(), pieces={"B": {"wall_mm": 7.0}}).pieces
    assert own_settings(pieces, "shell B") is pieces["B"]
    assert own_settings(pieces, "B") is pieces["B"]
    assert own_settings(pieces, "shell-b") is pieces["B"]
    assert own_settings(pieces, "shell A") is None
