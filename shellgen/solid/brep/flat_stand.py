"""A stepped flange laid flat: its features moved down to the plane, to be joined by ordinary booleans and lifted after.

Features stand along the pull on level terraces. Laid flat, each stands on z = 0 as it would on a plane; what has a
height of its own (feet, the base flange and its holes) keeps it, but for one raise of all that lifts it over the plate.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely

from shellgen.errors import KernelError
from shellgen.solid.recipe import Feature, Frustum, PieceRecipe, Prism, Role, moved_shape

FLAT_MM = 1.0  # the flat plate's outer face stands so far over its seats
BEYOND_MM = 2.0  # cuts through the plate run on
NEAR_MM = 0.02
SAMPLES = 400  # along the board
LEVELLED = (
    Role.BOLT_HOLE,
    Role.PIN_HOLE,
    Role.SEAT,
    Role.POCKET,
    Role.INSERT,
    Role.KEY,
    Role.SOCKET,
    Role.PRY_SLOT,
)


@dataclass(frozen=True, slots=True, eq=False)
class FlatStand:
    """The recipe of a flat plate in place of a stepped one, its features, and how far each place was moved down.

    level : for a point (x, y, z) of the flat plate that lies in neither of its planes.
    """

    recipe: PieceRecipe
    features: tuple[Feature, ...]
    level: Callable[[float, float, float], float]


def flat_stand(recipe: PieceRecipe, features: tuple[Feature, ...]) -> FlatStand:
    """Lay a stepped piece's plate flat. Raises KernelError for a feature that does not stand along the pull."""
    places: list[tuple[shapely.Polygon, tuple[float, ...], float]] = []
    out: list[Feature] = []
    thick = recipe.outline.thickness_mm
    raised = _raise_mm(recipe)
    up, down = np.eye(4), np.eye(4)
    up[2, 3] = raised
    for feature in features:
        if feature.role not in LEVELLED or _lies(feature):
            out.append(replace(feature, shape=moved_shape(feature.shape, up)))
            continue
        plan = _plan(feature, recipe.name)
        middle = plan.centroid
        z = float(recipe.parting.at(np.array(middle.x), np.array(middle.y)))
        down[2, 3] = -z
        flat = replace(feature, shape=moved_shape(feature.shape, down))
        out.append(_run_on(flat, thick))
        places.append((plan.buffer(NEAR_MM), _ends(flat), z))
    outline = replace(recipe.outline, thickness_mm=thick + FLAT_MM)
    apart = tuple(replace(o, thickness_mm=thick + FLAT_MM) for o in recipe.apart)

    def level(x: float, y: float, z: float) -> float:
        at = shapely.Point(x, y)
        found = (by for plan, ends, by in places if min(abs(z - e) for e in ends) < NEAR_MM and plan.contains(at))
        return next(found, -raised)

    base = recipe.base
    if base is not None:
        base = replace(base, reach=tuple((x, z + raised) for x, z in base.reach))
    return FlatStand(replace(recipe, outline=outline, apart=apart, base=base), tuple(out), level)


def _raise_mm(recipe: PieceRecipe) -> float:
    """How far the base flange is raised, so that it stands over the flat plate as it does over the stepped one."""
    if recipe.base is None:
        return 0.0
    reach = np.asarray(recipe.base.reach)
    x, y = np.meshgrid(np.linspace(reach[0, 0], reach[-1, 0], SAMPLES), (0.0, recipe.base.thickness_mm))
    return FLAT_MM - float(recipe.parting.at(x, y).min())


def _lies(feature: Feature) -> bool:
    """Whether a feature runs along the board."""
    return isinstance(feature.shape, Frustum) and feature.shape.axis[2] == 0.0


def _plan(feature: Feature, name: str) -> shapely.Polygon:
    """What a feature covers in plan."""
    shape = feature.shape
    if isinstance(shape, Prism):
        if shape.x_axis == (1.0, 0.0, 0.0) and shape.y_axis == (0.0, 1.0, 0.0):
            return shapely.Polygon(np.asarray(shape.outer) + shape.origin[:2])
    elif shape.axis[:2] == (0.0, 0.0):
        radius = max(shape.r0_mm, shape.r1_mm) if isinstance(shape, Frustum) else shape.rim_mm
        return shapely.Point(shape.base[:2]).buffer(radius, quad_segs=32)
    raise KernelError(f"shell piece {name}: a {feature.role.value} does not stand along the pull")


def _ends(feature: Feature) -> tuple[float, float]:
    """Heights at which a feature that stands along the pull begins and ends."""
    s = feature.shape
    if isinstance(s, Prism):
        return s.origin[2], s.origin[2] + s.length_mm
    tall = s.length_mm if isinstance(s, Frustum) else s.height_mm
    return s.base[2], s.base[2] + s.axis[2] * tall


def _run_on(feature: Feature, thick: float) -> Feature:
    """A cut that leaves the plate by its outer face, run on to pass the thicker one's."""
    shape = feature.shape
    if feature.add:
        return feature
    if isinstance(shape, Frustum) and shape.axis == (0.0, 0.0, 1.0) and shape.base[2] + shape.length_mm > thick:
        return replace(feature, shape=replace(shape, length_mm=thick + FLAT_MM + BEYOND_MM - shape.base[2]))
    if isinstance(shape, Prism) and shape.origin[2] + shape.length_mm > thick:
        return replace(feature, shape=replace(shape, length_mm=thick + FLAT_MM + BEYOND_MM - shape.origin[2]))
    return feature
