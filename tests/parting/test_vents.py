"""Air traps in shapes whose heights and volumes are known."""

from __future__ import annotations

import numpy as np
import parting_shapes as shapes
import pytest
import trimesh

from shellgen.parting.gap_runs import raster_over, runs_of
from shellgen.parting.merge_tree import merge_tree
from shellgen.parting.tilt import tilt_study, turned_up
from shellgen.parting.vents import filling, look_into, place_vents


def height_mesh(height, extent: float = 100.0, count: int = 201) -> tuple[np.ndarray, np.ndarray]:
    """A triangulated height field over a square, upward normals."""
    x, y = np.meshgrid(np.linspace(-extent, extent, count), np.linspace(-extent, extent, count))
    n = np.arange(count * count).reshape(count, count)
    a, b, c, d = n[:-1, :-1].ravel(), n[:-1, 1:].ravel(), n[1:, 1:].ravel(), n[1:, :-1].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    return np.column_stack([x.ravel(), y.ravel(), height(x, y).ravel()]), faces


def two_cones(x, y):
    """Cones of slope 1 on a floor: 50 high at x = −30 and 40 high at x = 30."""
    first, second = 50 - np.hypot(x + 30, y), 40 - np.hypot(x - 30, y)
    return np.maximum(np.maximum(first, second), 0)


def test_elder_rule_on_a_line():  # heights 3 1 5 0 4: 3 dies at 1, 4 at 0, 5 never
    tree = merge_tree(np.array([3.0, 1, 5, 0, 4]), np.arange(4), np.arange(1, 5))
    assert tree.dies_at[[0, 4]].tolist() == [1, 0] and np.isnan(tree.dies_at[2])
    assert (tree.root == 2).all() and not tree.vented_root.any()


def test_runs_hold_the_volume():
    ring = shapes.turned(shapes.torus(40, 10), 90, (1, 0, 0))
    vertices, faces = shapes.as_arrays(ring)
    runs = runs_of(vertices, faces, raster_over(vertices, 0.7))
    volume = (runs.top_mm - runs.bottom_mm).sum() * 0.7**2
    assert volume == pytest.approx(2 * np.pi**2 * 40 * 10**2, rel=3e-3)  # Pappus
    assert np.bincount(runs.node).max() == 2


def shell_round(solid: trimesh.Trimesh, outer: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    """The gap between two closed meshes, one inside the other."""
    inner = solid.copy()
    inner.invert()
    return shapes.as_arrays(trimesh.util.concatenate([outer, inner]))


def hollow_table(radius: float = 20.0) -> trimesh.Trimesh:
    """A plate with a half-spherical hollow of `radius` in its underside: revolved, closed."""
    a = np.linspace(0, np.pi / 2, 40)
    hollow = np.column_stack([radius * np.sin(a), radius * np.cos(a)])
    profile = np.vstack([hollow, [[40, 0], [40, 40], [0, 40]]])
    table = trimesh.creation.revolve(profile, sections=128)
    if table.volume < 0:
        table.invert()
    table.apply_translation((0, 0, 10))
    return table


def test_hollow_under_a_table_traps_its_half_ball():
    table = hollow_table()
    assert table.is_watertight
    block = trimesh.creation.box((100, 100, 70), trimesh.transformations.translation_matrix((0, 0, 30)))
    gap = shell_round(table, block)
    result = filling(look_into(gap, shapes.as_arrays(table), pitch_mm=1.0), [(45.0, 45.0, 65.0)])
    assert result.never_filled == ()
    (trap,) = result.traps
    assert trap.under == "pattern"
    assert trap.depth_mm == pytest.approx(20, abs=0.1)
    assert trap.at_mm == pytest.approx((0, 0, 30), abs=0.8)
    assert trap.volume_mm3 == pytest.approx(2 / 3 * np.pi * 20**3, rel=0.01)


def under_lid(vertices: np.ndarray, faces: np.ndarray, floor_mm: float) -> trimesh.Trimesh:
    """The closed block between a height field over a square and a flat floor."""
    count, n = int(np.sqrt(len(vertices))), len(vertices)
    index = np.arange(n).reshape(count, count)
    rim = np.concatenate([index[0], index[1:, -1], index[-1, -2::-1], index[-2::-1, 0]])
    a, b = rim[:-1], rim[1:]
    sides = np.concatenate([np.column_stack([a, a + n, b + n]), np.column_stack([a, b + n, b])])
    low = vertices * [1, 1, 0] + [0, 0, floor_mm]
    return trimesh.Trimesh(np.vstack([vertices, low]), np.vstack([faces, faces[:, ::-1] + n, sides]), process=False)


def test_vent_left_out_traps_the_cap():
    gap = under_lid(*height_mesh(two_cones), floor_mm=-20)
    core = trimesh.creation.box((2, 2, 2), trimesh.transformations.translation_matrix((80, 80, -18)))
    assert gap.is_watertight and gap.volume > 0
    seen = look_into(shapes.as_arrays(gap), shapes.as_arrays(core), pitch_mm=1.3)
    both = filling(seen, [(-30, 0, 50), (30, 0, 40)])
    assert both.traps == ()
    one = filling(seen, [(-30, 0, 50)])
    (trap,) = one.traps
    assert trap.under == "shell"
    assert trap.depth_mm == pytest.approx(25, abs=1.5)
    assert trap.volume_mm3 == pytest.approx(np.pi * 25**3 / 3, rel=0.05)  # the cone's tip above the pass
    lower = filling(seen, [(30, 0, 40)])
    assert lower.traps[0].depth_mm == pytest.approx(35, abs=1.5)  # the higher cone's air cannot pass down to the vent


def test_pour_and_vents_are_placed_and_let_all_air_out():
    gap = under_lid(*height_mesh(two_cones), floor_mm=-20)
    core = trimesh.creation.box((2, 2, 2), trimesh.transformations.translation_matrix((80, 80, -18)))
    seen = look_into(shapes.as_arrays(gap), shapes.as_arrays(core), pitch_mm=1.3)
    pour, vent = place_vents(seen)
    assert pour.at_mm == pytest.approx((-30, 0, 50), abs=1.2)
    assert vent.at_mm == pytest.approx((30, 0, 40), abs=1.2)
    assert vent.air_mm3 == pytest.approx(np.pi * 25**3 / 3, rel=0.05)
    assert filling(seen, [pour.at_mm, vent.at_mm]).traps == ()
    assert place_vents(seen, merge_mm=70) == (pour,)


def test_no_vent_is_placed_under_the_pattern():
    table = hollow_table()
    block = trimesh.creation.box((100, 100, 70), trimesh.transformations.translation_matrix((0, 0, 30)))
    seen = look_into(shell_round(table, block), shapes.as_arrays(table), pitch_mm=1.5)
    (pour,) = place_vents(seen)
    assert pour.at_mm[2] == pytest.approx(65)


def test_part_that_the_pour_does_not_reach():
    first = trimesh.creation.box((20, 20, 20))
    second = trimesh.creation.box((20, 20, 10), trimesh.transformations.translation_matrix((40, 0, 0)))
    core = trimesh.creation.box((2, 2, 2))
    gap = shapes.as_arrays(trimesh.util.concatenate([first, second]))
    result = filling(look_into(gap, shapes.as_arrays(core), pitch_mm=1.0), [(0, 0, 10)])
    assert len(result.never_filled) == 1
    assert result.never_filled[0][0] > 29 and result.never_filled[0][2] == pytest.approx(5)


def test_tilting_empties_a_hollow():  # a half ball holds all its air upright and none when leant by 45 degrees or more
    table = hollow_table()
    block = trimesh.creation.box((160, 160, 130), trimesh.transformations.translation_matrix((0, 0, 30)))
    tilts = tilt_study(shell_round(table, block), shapes.as_arrays(table), pitch_mm=3.0)
    assert len(tilts) == 33
    upright = next(t for t in tilts if t.lean_deg == 0)
    assert upright.air_mm3 == pytest.approx(2 / 3 * np.pi * 20**3, rel=0.05)
    by_lean = {lean: min(t.air_mm3 for t in tilts if t.lean_deg == lean) for lean in (0.0, 20.0, 45.0)}
    assert by_lean[45.0] < by_lean[20.0] < by_lean[0.0]
    assert tilts[0].lean_deg == 45.0


def test_turning_up():
    up = np.array([0.3, -0.5, 0.8])
    rotation = turned_up(up)
    assert rotation @ up == pytest.approx([0, 0, np.linalg.norm(up)])
    assert rotation @ rotation.T == pytest.approx(np.eye(3))
    assert np.linalg.det(rotation) == pytest.approx(1)
    assert turned_up(np.array([0, 0, -1.0])) @ [0, 0, -1] == pytest.approx([0, 0, 1])
