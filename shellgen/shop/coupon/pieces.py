"""The test pieces as recipes: flat plates with holes, sockets, steps and engraved words. mm.

Each recipe's frame lays the piece as it prints, without supports.
"""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.mold.labels import text_prisms, text_width_mm
from shellgen.pattern.pattern import IntArray
from shellgen.shop.coupon.plan import EAR_MM, TIE_HOLE_MM, CouponPlan, KeyPlan, StripPlan, TrayPlan
from shellgen.solid.recipe import (
    Dome,
    Feature,
    Frustum,
    Outline,
    PlateRecipe,
    Prism,
    Ring,
    Role,
)

ENGRAVED_MM = 0.6
LETTER_MM = 5.0
BLOCK_MM = 8.0  # least thickness of the blocks for key and sockets
RIM_MM = 3.0  # wall of the tray
STEP_SIDE_MM = 24.0
CABLE_TIE_MM = 2.0  # room between the ears for what ties the weight to them


def pieces(plan: CouponPlan) -> tuple[PlateRecipe, ...]:
    """Every piece of the coupon."""
    found = [strip(plan.strips, "A"), strip(plan.strips, "B")]
    if plan.keys is not None:
        found += [key_block(plan.keys), socket_bar(plan.keys)]
    return (*found, tray(plan.tray))


def ear_places_mm(plan: StripPlan) -> tuple[float, ...]:
    """Middles of the spans along a strip."""
    assert plan.line.ends_mm is not None
    places, at = [], plan.line.ends_mm[0]
    for span in plan.line.spans_mm:
        places.append(at + span / 2.0)
        at += span
    return tuple(places)


def bolt_places_mm(plan: StripPlan) -> tuple[float, ...]:
    """Bolts along a strip."""
    assert plan.line.ends_mm is not None
    return tuple(float(x) for x in plan.line.ends_mm[0] + np.concatenate([[0.0], np.cumsum(plan.line.spans_mm)]))


def strip(plan: StripPlan, name: str) -> PlateRecipe:
    """One strip, its mating face at z = 0; it prints with that face up.

    Tabs midway in each span take the weight; their mating side is cut back. x along the strip, y across it: from the
    flange's edge to the wall's inside for A, the other way for B, so that B turned over its long side lies on A edge
    to edge. The tabs stiffen a gap by a few percent where they join the strip; that is left out of the prediction.
    """
    flange = plan.section.first if name == "A" else plan.section.second
    length, width, t = plan.line.length_mm, plan.width_mm, flange.thickness_mm
    bolt_y = width - plan.section.bolt_line_mm if name == "A" else plan.section.bolt_line_mm
    reach = max(bolt_y, width - bolt_y) + 2.0 + 2.5 * TIE_HOLE_MM
    low, high = bolt_y - reach, bolt_y + reach
    half = EAR_MM / 2.0
    outer = [(0.0, 0.0)]
    for x in ear_places_mm(plan):
        outer += [(x - half, 0.0), (x - half, low), (x + half, low), (x + half, 0.0)]
    outer += [(length, 0.0), (length, width)]
    for x in reversed(ear_places_mm(plan)):
        outer += [(x + half, width), (x + half, high), (x - half, high), (x - half, width)]
    outer.append((0.0, width))
    features = [_hole((x, bolt_y), plan.hole_mm, t, Role.BOLT_HOLE) for x in bolt_places_mm(plan)]
    back = min(CABLE_TIE_MM, t / 2.0)
    for x in ear_places_mm(plan):
        for y0, y1, hole_y in (
            (low - 1.0, 0.0, low + 1.5 * TIE_HOLE_MM),
            (width, high + 1.0, high - 1.5 * TIE_HOLE_MM),
        ):
            features.append(_box_cut((x - half - 1.0, y0, -1.0), (x + half + 1.0, y1, back)))
            features.append(_hole((x, hole_y), TIE_HOLE_MM, t, Role.PORT))
    height = min(LETTER_MM, width / 3.0)
    for number, x in enumerate(ear_places_mm(plan), 1):
        words = f"{number}"
        left = x - text_width_mm(words, height) / 2.0
        features += _engraved(words, (left, bolt_y - height / 2.0, t), height)
    features += _engraved(name, (1.5, width - 5.5, t), 4.0)
    turned = np.diag([1.0, -1.0, -1.0, 1.0])
    turned[2, 3] = t
    return PlateRecipe(f"strip-{name.lower()}", "coupon", turned, Outline(tuple(outer), (), t), tuple(features))


def key_block(plan: KeyPlan) -> PlateRecipe:
    """A block to hold between two fingers, with one key standing on it."""
    side = max(2.0 * plan.radius_mm + 12.0, 24.0)
    features = [Feature(Role.KEY, key_shape(plan, BLOCK_MM, 1.0, 0.0), add=True)]
    label = "KEY"
    at = ((side - text_width_mm(label, 4.0)) / 2.0, 1.5, BLOCK_MM)
    features += _engraved(label, at, 4.0)
    return PlateRecipe("key", "coupon", np.eye(4), Outline(_rectangle(side, side + 8.0), (), BLOCK_MM), tuple(features))


def socket_bar(plan: KeyPlan) -> PlateRecipe:
    """A bar with one socket for each clearance, engraved with it."""
    thickness = max(BLOCK_MM, plan.height_mm + max(plan.clearances_mm) + 3.0)
    pitch = max(2.0 * (plan.radius_mm + max(plan.clearances_mm)) + 6.0, text_width_mm("0.1", LETTER_MM) + 6.0)
    depth = 2.0 * plan.radius_mm + 20.0
    features: list[Feature] = []
    for k, play in enumerate(plan.clearances_mm):
        x = pitch * (k + 0.5)
        shape = key_shape(plan, thickness, -1.0, play, (x, depth - plan.radius_mm - 5.0))
        features.append(Feature(Role.SOCKET, shape, add=False))
        words = f"{play:g}"
        features += _engraved(words, (x - text_width_mm(words, LETTER_MM) / 2.0, 2.5, thickness), LETTER_MM)
    outline = Outline(_rectangle(pitch * len(plan.clearances_mm), depth), (), thickness)
    return PlateRecipe("sockets", "coupon", np.eye(4), outline, tuple(features))


def key_shape(
    plan: KeyPlan, face_mm: float, up: float, play_mm: float, at_mm: tuple[float, float] | None = None
) -> Frustum | Dome:
    """A key on the face z = face_mm (up = 1) or its socket in it (up = -1), the clearance square to its surface.

    The shape starts 0.4 inside the face so that nothing is left between; a cone narrows to half its radius.
    """
    sink = 0.4
    middle = max(2.0 * plan.radius_mm + 12.0, 24.0) / 2.0
    x, y = (middle, middle + 8.0) if at_mm is None else at_mm
    base = (x, y, face_mm - up * sink)
    axis = (0.0, 0.0, up)
    if plan.kind == "dome":
        return Dome(base, axis, plan.radius_mm + play_mm, plan.height_mm + play_mm + sink)
    slope = 0.5 * plan.radius_mm / plan.height_mm
    side = play_mm * float(np.hypot(1.0, slope))
    near, far = plan.radius_mm + side + slope * sink, 0.5 * plan.radius_mm + side - slope * play_mm
    return Frustum(base, axis, plan.height_mm + play_mm + sink, near, far)


def tray(plan: TrayPlan) -> PlateRecipe:
    """A tray with floors at growing depth; each depth is engraved on the rim beside its step."""
    deepest = max(plan.depths_mm)
    thickness = deepest + plan.floor_mm
    rim = 2.0 * RIM_MM + 4.0
    length = STEP_SIDE_MM * len(plan.depths_mm) + 2.0 * RIM_MM
    features: list[Feature] = []
    for k, depth in enumerate(plan.depths_mm):
        x = RIM_MM + STEP_SIDE_MM * k
        features.append(_box_cut((x, rim, thickness - depth), (x + STEP_SIDE_MM, rim + STEP_SIDE_MM, thickness + 1.0)))
        words = f"{depth:g}"
        left = x + (STEP_SIDE_MM - text_width_mm(words, LETTER_MM)) / 2.0
        features += _engraved(words, (left, (rim - LETTER_MM) / 2.0, thickness), LETTER_MM)
    outline = Outline(_rectangle(length, rim + STEP_SIDE_MM + RIM_MM), (), thickness)
    return PlateRecipe("steps", "coupon", np.eye(4), outline, tuple(features))


def _hole(at: tuple[float, float], diameter: float, thickness: float, role: Role) -> Feature:
    r = diameter / 2.0
    shape = Frustum((at[0], at[1], -1.0), (0.0, 0.0, 1.0), thickness + 2.0, r, r)
    return Feature(role, shape, add=False, through=True)


def _box_cut(low: tuple[float, float, float], high: tuple[float, float, float]) -> Feature:
    ring = ((low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]))
    shape = Prism(ring, (), (0.0, 0.0, low[2]), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), high[2] - low[2])
    return Feature(Role.SEAT, shape, add=False)


def _engraved(words: str, at: tuple[float, float, float], height: float) -> list[Feature]:
    """Words cut into the face at z = at[2], lower left corner at (at[0], at[1])."""
    prisms = text_prisms(
        words, height, (at[0], at[1], at[2] - ENGRAVED_MM), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), ENGRAVED_MM + 0.5
    )
    return [Feature(Role.LABEL, prism, add=False) for prism in prisms]


def _rectangle(width: float, height: float) -> Ring:
    return ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))


def meshes(plan: CouponPlan) -> tuple[tuple[str, FloatArray, IntArray], ...]:
    """Name, vertices (n, 3) and faces (m, 3) of every piece, ready to print as they lie."""
    from shellgen.solid.mesh import mesh_of, moved, plate_solid

    laid = ((recipe.name, moved(plate_solid(recipe), recipe.plate_to_mold)) for recipe in pieces(plan))
    return tuple((name, *mesh_of(solid)) for name, solid in laid)
