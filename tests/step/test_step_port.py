"""A port that stands partly on the flange, joined by booleans: against the mesh kernel's solid of the same recipe."""

from dataclasses import replace

import pytest

from shellgen.checks.step_measure import labels_mm3
from shellgen.checks.step_reread import counts, graph_on
from shellgen.checks.step_surfaces import bores_missing
from shellgen.checks.step_volume import volume_mm3
from shellgen.solid.brep.piece import fault_of, piece_brep
from shellgen.solid.brep.port import port_plans
from shellgen.solid.mesh import piece_solid
from shellgen.solid.recipe import Role

ASIDE_MM = 34.0


def moved_port(recipe):
    """The recipe with its port moved to the wall's edge, its walls run on down."""
    out = []
    for f in recipe.features:
        if f.role in (Role.PORT, Role.INSERT) and f.shape.axis == (0.0, 0.0, 1.0):
            x, y, z = f.shape.base
            down = 0.0 if f.role is Role.INSERT else z + 2.0
            shape = replace(f.shape, base=(x + ASIDE_MM, y, z - down), length_mm=f.shape.length_mm + down)
            f = replace(f, shape=shape)
        out.append(f)
    return replace(recipe, features=tuple(out))


def test_a_port_over_the_walls_edge_is_built_as_the_mesh_has_it(ball):
    recipe = moved_port(ball.piece("A"))
    (plan,), _ = port_plans(recipe)
    assert plan.boss is not None
    solid, _ = piece_brep(recipe)
    assert fault_of(solid) is None
    assert bores_missing(solid, recipe.features) == []
    mesh = piece_solid(recipe, 0.02)
    assert counts(solid).genus == mesh.genus()
    assert volume_mm3(solid, graph_on) == pytest.approx(mesh.volume() + labels_mm3(recipe), rel=2e-3)
