"""Gussets count only in the gaps that have one on both halves."""

import pytest

import shellgen
from shellgen.mold.gussets import web_plan
from shellgen.shop.bolts import answer
from shellgen.shop.joint.job import JointOptions
from shellgen.shop.seams import seam_paths
from shellgen.shop.webs import webbed
from shellgen.solid.recipe import Role


@pytest.fixture(scope="module")
def molds():
    jobs = "configs/gate-finial.toml"
    plain = shellgen.load_job(jobs)
    flange = plain.settings.flange.model_copy(update={"gussets": True})
    with_webs = type(plain)(plain.settings.model_copy(update={"flange": flange}), plain.path)
    return shellgen.make_mold(plain), shellgen.make_mold(with_webs)


@pytest.mark.slow
def test_gaps_without_a_web_open_as_in_a_plain_flange(molds):
    plain, with_webs = molds
    has_web = webbed(with_webs.design, seam_paths(with_webs.design))
    bare, built = (answer(m.design, JointOptions()).report for m in (plain, with_webs))
    assert 0 < sum(has_web) < len(has_web)
    for web, before, after in zip(has_web, bare.gaps, built.gaps, strict=True):
        if web:
            assert after.opening_mm < 0.5 * before.opening_mm
        else:
            assert after.opening_mm == pytest.approx(before.opening_mm)
    assert built.pitch.pitch_mm == pytest.approx(bare.pitch.pitch_mm)


@pytest.mark.slow
def test_as_many_gaps_have_a_web_as_both_halves_have_in_common(molds):
    _, with_webs = molds
    count = [
        sum(f.role is Role.GUSSET and web_plan(f).area > 0 for f in piece.features) for piece in with_webs.design.pieces
    ]
    assert sum(webbed(with_webs.design, seam_paths(with_webs.design))) <= min(count)
