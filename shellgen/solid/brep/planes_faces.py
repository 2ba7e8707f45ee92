"""The faces of a piece between planes, but its skins: plates cut open where the skins rise, at creases and at sides."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.solid.brep.caps import (
    UNDER_MM,
    Cap,
    X,
    Y,
    Z,
    board_caps,
    clear_of,
    covers,
    opened,
    sorted_faces,
    stood_up,
)
from shellgen.solid.brep.loops import Side, faces_of
from shellgen.solid.brep.plan_lines import Line
from shellgen.solid.brep.planes_graph import ON_MM, PlanesGraph
from shellgen.solid.brep.skin_face import Skin
from shellgen.solid.recipe import PieceRecipe


def planes_faces(
    recipe: PieceRecipe, body: Any, inside: Skin, outside: Skin, trims: tuple[PlanesGraph, PlanesGraph], what: str
) -> list[Any]:
    """All faces of a piece between planes but its skins and its port. body : its plates."""
    caps = planes_caps(recipe, trims)
    kept, sides = sorted_faces(body, caps)
    for name, skin, trim in (("mating", inside, trims[0]), ("top", outside, trims[1])):
        floors = [f"{name} {k}" for k in range(len(trim.planes))]
        walls = _walls(recipe, name, trim)
        for k, j in combinations(range(len(floors)), 2):
            crease = trim.crease(k, j)
            if crease is not None:
                _opened_along(sides, caps, (floors[k], floors[j]), crease, skin, trim, (k, j))
        for k, floor in enumerate(floors):
            for wall, line in walls:
                _opened_along(sides, caps, (floor, wall), line, skin, trim, (k,))
        for (wall, line), (other, cross) in combinations(walls, 2):
            _opened_upright(sides, caps, (wall, other), (line, cross), skin)
        for floor in floors:
            clear_of(sides[floor], skin, trim, name, trim.edges, what)
        for side in skin.trims:
            x, y = side.plan_mm[len(side.plan_mm) // 2]
            sides[floors[int(trim.top(x, y))]].append(side.turned())
        for side in skin.isos:
            x, y = side.plan_mm[len(side.plan_mm) // 2]
            wall = min(walls, key=lambda w: abs(float(w[1].over(x, y))))[0]
            # seen from outside, the wall lies above the inner skin's line, and below the outer one's or behind the step
            stood = stood_up(side, skin, caps[wall])
            sides[wall].append(stood if name == "mating" else stood.turned())
    return kept + [f for name, cap in caps.items() for f in faces_of(sides[name], cap.surface, cap.outward, what)]


def planes_caps(recipe: PieceRecipe, trims: tuple[PlanesGraph, PlanesGraph]) -> dict[str, Cap]:
    """The planes of a piece: mating and outer faces of its plates, numbered, and those that it has at its board."""
    out = {}
    for name, trim, outward in (("mating", trims[0], False), ("top", trims[1], True)):
        for k, plane in enumerate(trim.planes):
            normal = np.array([-plane.a, -plane.b, 1.0])
            normal /= np.linalg.norm(normal)
            out[f"{name} {k}"] = Cap(f"{name} {k}", plane.c_mm * Z, normal, np.array([X, Y]), outward)
        for k, line in enumerate(trim.sides):
            inner, along = _level(line.normal), _level(line.way)
            plan, normal = ([along, Z], -inner) if name == "mating" else ([Z, along], inner)
            out[f"{name} side {k}"] = Cap(f"{name} side {k}", -line.c_mm * inner, normal, np.array(plan), True)
    return {**out, **board_caps(recipe)}


def _level(direction: FloatArray) -> FloatArray:
    """A direction (2,) of the plan in space."""
    return np.array([direction[0], direction[1], 0.0])


def _walls(recipe: PieceRecipe, name: str, trim: PlanesGraph) -> list[tuple[str, Line]]:
    """The upright planes at which a skin's plan ends, by name, and their lines."""
    walls = [(f"{name} side {k}", line) for k, line in enumerate(trim.sides)]
    if trim.board is not None:
        stepped = name == "top" and recipe.base is not None
        walls.append(("step" if stepped else "base", trim.board))
    return walls


def _opened_along(
    sides: dict[str, list[Side]],
    caps: dict[str, Cap],
    pair: tuple[str, str],
    line: Line,
    skin: Skin,
    trim: PlanesGraph,
    planes: tuple[int, ...],
) -> None:
    """Cut the edges that two faces share over a line in plan where a skin rises from them.

    planes : numbers of those planes of the trim, one or two, that the edges lie in.
    """
    ends = []
    for place, vertex in skin.met:
        x, y = np.array(place)
        highest = float(trim.at(x, y))
        level = all(highest - float(trim.planes[k].at(x, y)) < ON_MM for k in planes)
        if level and abs(float(line.over(x, y))) < ON_MM:
            ends.append((float(np.asarray(place) @ line.way), vertex))
    ends.sort(key=lambda e: e[0])

    def place_at(t: float) -> tuple[float, float]:
        x, y = line.place(t)
        return (float(x), float(y))

    over = covers(skin, trim, place_at)

    def covered(t: float) -> bool:
        x, y = line.place(t)
        return over(t) and bool(trim.within(x, y, -ON_MM))

    opened(sides, caps, pair, ends, _level(line.way), covered)


def _opened_upright(
    sides: dict[str, list[Side]],
    caps: dict[str, Cap],
    pair: tuple[str, str],
    lines: tuple[Line, Line],
    skin: Skin,
) -> None:
    """Cut the edges that two upright faces share where a skin turns the corner between them."""
    found = [
        (place, vertex)
        for place, vertex in skin.corners
        if all(abs(float(line.over(*np.array(place)))) < ON_MM for line in lines)
    ]
    if not found:
        return
    x, y = (np.array(v) for v in found[0][0])
    height = float(skin.graph.at(x, y))
    opened(sides, caps, pair, [(height, v) for _, v in found], Z, lambda t: t < height - UNDER_MM)
