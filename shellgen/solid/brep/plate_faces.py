"""All faces of a piece but its skins and ports: those of its plate, cut open where the skins rise from it.

Flat pieces keep the plate's planes; a stepped piece's plate is lifted, and its planes at the board stay upright.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from shellgen.solid.brep import occ
from shellgen.solid.brep.caps import Cap, X, caps_of, clear_of, covers, opened, sorted_faces, stood_up
from shellgen.solid.brep.graph import Graph
from shellgen.solid.brep.lift import Lift
from shellgen.solid.brep.loops import Side, faces_of
from shellgen.solid.brep.own_surface import own_surfaces
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.skin_face import Skin
from shellgen.solid.recipe import PieceRecipe


def joined_faces(
    recipe: PieceRecipe, body: Any, inside: Skin, outside: Skin, trims: tuple[Graph, Graph], what: str
) -> list[Any]:
    """All faces of a flat piece but its skins and its port."""
    caps = caps_of(recipe)
    kept, sides = sorted_faces(body, caps)
    wall, wall_y = _wall(recipe)
    for name, skin, trim, upright, low_y in (
        ("mating", inside, trims[0], "base", 0.0),
        ("top", outside, trims[1], wall, wall_y),
    ):
        board = _board(recipe, low_y)
        if recipe.on_board:
            under = covers(skin, trim, lambda t, y=low_y: (t, y))  # type: ignore[misc]
            opened(sides, caps, (name, upright), skin.ends, X, under)
        clear_of(sides[name], skin, trim, name, board, what)
        sides[name] += [side.turned() for side in skin.trims]
    if recipe.on_board:
        _stand(sides, caps, wall, inside, outside)
    return kept + [f for name, cap in caps.items() for f in faces_of(sides[name], cap.surface, cap.outward, what)]


def lifted_faces(flat: PieceRecipe, body: Any, lift: Lift, inside: Skin, outside: Skin) -> list[Any]:
    """All faces of a stepped piece but its skins and its port; flat, body : its plate laid flat."""
    caps = caps_of(flat)
    kept, sides = sorted_faces(body, caps)
    wall, wall_y = _wall(flat)
    rows = ((lift.low, "mating", inside, False, "base", 0.0), (lift.high, "top", outside, True, wall, wall_y))
    if flat.on_board:
        for ground, name, skin, _, upright, low_y in rows:
            ends = [(x, occ.vertex(np.array([x, low_y, ground.level_mm]))) for x, _ in skin.ends]
            for (_, laid_flat), (_, lifted) in zip(ends, skin.ends, strict=True):
                lift.pin(laid_flat, lifted)
            under = covers(skin, ground.graph, lambda t, y=low_y: (t, y))  # type: ignore[misc]
            opened(sides, caps, (name, upright), ends, X, under)
    faces = lift.faces(kept)
    for ground, name, skin, outward, _, low_y in rows:
        own = lift.sides(sides[name])
        clear_of(own, skin, ground.graph, name, _board(flat, low_y), lift.what)
        found = faces_of(own + [s.turned() for s in skin.trims], ground.surface, outward, lift.what)
        faces += own_surfaces(found, ground.graph, ground.surface)
    if flat.on_board:
        names = sorted({"base", wall})
        upright_sides = {name: lift.upright_sides(sides[name], caps[name].plan) for name in names}
        _stand(upright_sides, caps, wall, inside, outside)
        for name in names:
            faces += faces_of(upright_sides[name], caps[name].surface, caps[name].outward, lift.what)
    return faces


def _wall(recipe: PieceRecipe) -> tuple[str, float]:
    """The upright plane that the outer skin ends on at the board, and its y."""
    return ("base", 0.0) if recipe.base is None else ("step", recipe.base.thickness_mm)


def _board(recipe: PieceRecipe, low_y: float) -> tuple[Line, ...]:
    """The line in plan at which a skin ends over the board; none without one."""
    return (Line(0.0, 1.0, -low_y),) if recipe.on_board else ()


def _stand(sides: dict[str, list[Side]], caps: dict[str, Cap], wall: str, inside: Skin, outside: Skin) -> None:
    """Add the skins' edges in the upright planes at the board to the sides there.

    Seen from outside, the wall lies above the inner skin's line, and below the outer one's or behind the step.
    """
    sides["base"] += [stood_up(s, inside, caps["base"]) for s in inside.isos]
    sides[wall] += [stood_up(s, outside, caps[wall]).turned() for s in outside.isos]
