"""Two halves or three pieces: volumes against built jackets, seams against closed forms, the weight of a flange."""

import numpy as np
import pytest
import trimesh

import shellgen
from shellgen.errors import DesignError
from shellgen.job.defaults import fill_in
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.mold.as_built import prepared
from shellgen.mold.more_pieces import flange_g_mm, laid_mm3, refusal, third_piece, two_halves, weighed
from shellgen.parting.cells import radial_cells
from shellgen.parting.job_planes import cost_job, quick_best
from shellgen.pattern.intake import take_in


def column(height=90.0, radius=20.0):
    """An upright cylinder, standing on its base."""
    return trimesh.creation.cylinder(radius=radius, height=height, sections=96)


def star(height=60.0):
    """Three thin arms about an upright axis, 120 degrees apart, each with beads at its ends."""
    parts = [trimesh.creation.cylinder(radius=8.0, height=height, sections=48)]
    for k in range(3):
        way = np.array([np.cos(2 * np.pi * k / 3 + np.pi / 3), np.sin(2 * np.pi * k / 3 + np.pi / 3), 0.0])
        for z in (-20.0, 20.0):
            parts.append(trimesh.creation.cylinder(3.0, segment=[(0, 0, z), 55 * way + [0, 0, z]], sections=24))
            parts.append(trimesh.creation.icosphere(3, 9.0).apply_translation(55 * way + [0, 0, z]))
    return trimesh.boolean.union(parts, engine="manifold")


def ready(folder, mesh, **tables):
    mesh.export(folder / "mesh.stl")
    settings = Settings.model_validate(
        {
            "name": "count",
            "pattern": {"file": "mesh.stl"},
            "jacket": {"thickness_mm": 6.0, "crevice_mm": 3.0, "keys": False},
            "raster": {"pitch_mm": 0.8},
            "outputs": {"pictures": False, "step": False},
            **tables,
        }
    )
    pattern = take_in(settings, folder)
    return fill_in(settings, pattern.bounds_mm), pattern


def test_pieces_are_weighed_as_they_are_built(tmp_path):
    """Rubber of three radial pieces on the rough raster against the built jacket."""
    settings, pattern = ready(tmp_path, star(), parting={"kind": "radial"})
    blank = prepared(settings, pattern)
    whole, seam = laid_mm3(blank, radial_cells(settings.parting, pattern.bounds_mm))
    mold = shellgen.make_mold(Job(settings, tmp_path / "job.toml"))
    built = next(p for p in mold.parts if p.kind == "jacket").volume_mm3
    assert whole - pattern.skin.volume_mm3 == pytest.approx(built, rel=0.02)
    assert seam > 0
    assert any("wo halves would" in note for note in mold.design.notes)


def test_seam_of_a_column_is_that_of_its_profile(tmp_path):
    """On a board three faces meet the jacket along side and top: 3 (H + r) to rounding and draft, closed form."""
    settings, pattern = ready(tmp_path, column(), mount={"kind": "board", "lip_mm": 0.0}, parting={"kind": "radial"})
    _, seam = laid_mm3(prepared(settings, pattern), radial_cells(settings.parting, pattern.bounds_mm))
    grown = 3 * ((90.0 + 6.0) + (20.0 + 6.0) - (2 - np.pi / 2) * 6.0)  # the top's edge is rounded by the rubber
    assert seam == pytest.approx(grown, rel=0.05)


def test_a_star_of_three_arms_needs_less_rubber_in_three(tmp_path):
    settings, pattern = ready(tmp_path, star(), parting={"plane": {"angle_deg": 0}})
    blank = prepared(settings, pattern)
    found = third_piece(blank, cost_job(settings, pattern))
    assert found.saves_g == pytest.approx(1.1 * (found.halves_fill_cm3 - found.fill_cm3), rel=0.15)
    more = found.seam_mm - found.halves_seam_mm
    assert found.costs_g == pytest.approx(more * flange_g_mm(settings))
    assert found.worth == (found.saves_g > found.costs_g)
    assert ("saves more than it costs" in found.says()) == found.worth


def bridge():
    """Two upright posts joined by a thin bar: no face across the bar has room for a bolt."""
    posts = [trimesh.creation.cylinder(8.0, 70.0, sections=48).apply_translation((x, 0, 0)) for x in (-45, 45)]
    bar = trimesh.creation.cylinder(3.0, segment=[(-45, 0, 0), (45, 0, 0)], sections=24)
    return trimesh.boolean.union([*posts, bar], engine="manifold")


def test_what_the_build_refuses_is_refused_before_it(tmp_path):
    """The advice's quick look at the mating faces and the build agree, in what they say too."""
    for mesh, refused in ((bridge(), True), (star(), False)):
        settings, pattern = ready(tmp_path, mesh, parting={"kind": "radial", "angle_deg": 20})
        said = refusal(prepared(settings, pattern), settings)
        if refused:
            with pytest.raises(DesignError) as error:
                shellgen.make_mold(Job(settings, tmp_path / "job.toml"))
            assert said and said in str(error.value)
        else:
            assert said == ""
            assert len(shellgen.make_mold(Job(settings, tmp_path / "job.toml")).design.bolts) >= 6


def test_a_third_piece_is_advised_only_where_it_can_be_bolted(tmp_path, monkeypatch):
    settings, pattern = ready(tmp_path, star(), parting={"plane": {"angle_deg": 0}})
    blank, best = prepared(settings, pattern), cost_job(settings, pattern)
    free = third_piece(blank, best)
    assert free.worth and f"parting.angle_deg = {free.angle_deg:.0f}" in free.says()

    def refuse_first(_, asked):
        return "no room" if asked.parting.angle_deg == free.angle_deg else ""

    monkeypatch.setattr("shellgen.mold.more_pieces.refusal", refuse_first)
    second = third_piece(blank, best)
    assert second.angle_deg != free.angle_deg and second.fill_cm3 >= free.fill_cm3
    monkeypatch.setattr("shellgen.mold.more_pieces.refusal", lambda *_: "no room")
    none = third_piece(blank, best)
    assert not none.worth and none.saves_g > none.costs_g and none.angle_deg == free.angle_deg
    assert "would refuse them: no room" in none.says()


def test_two_halves_would_do_for_a_ball(tmp_path):
    ball = trimesh.creation.icosphere(4, 30.0)
    settings, pattern = ready(tmp_path, ball, parting={"kind": "radial"})
    found = weighed(prepared(settings, pattern), cost_job(settings, pattern))
    assert found.would_do and "Two halves would do" in found.says()
    cells = radial_cells(settings.parting, pattern.bounds_mm)
    assert two_halves(prepared(settings, pattern), cells, *quick_best(settings, pattern)).would_do


def test_a_mm_of_flange_weighs_its_section_and_its_share_of_bolts(tmp_path):
    settings, _ = ready(tmp_path, column())
    thick, wide = settings.flange.thickness_mm, settings.flange.width_mm
    assert flange_g_mm(settings) > 2 * thick * wide * 1.2e-3  # no printed shell is lighter than 1.2 g/cm3
    assert flange_g_mm(settings) < 2 * (2 * thick * wide * 1.3e-3)
