"""A mold made by hand from balls, discs and cones, and the ways to break it: what the checks are tried on."""

from dataclasses import dataclass, replace

import manifold3d as m3
import numpy as np
from shapely.geometry import MultiPolygon

from shellgen.job.model import Settings
from shellgen.mold.mold import Bolt, JacketKey, Key, Mold, MoldDesign, Part
from shellgen.pattern.pattern import Pattern, Skin

# pull frame of piece A: +z along mold +x, +y up (mold z), x across (mold y); B is the same turned half about y
PULL_A = np.array([[0.0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
PULL_B = PULL_A @ np.diag([-1.0, 1, -1, 1])


@dataclass(frozen=True)
class Plan:
    """Sizes in mm, and what is wrong with the mold (all nothing by default)."""

    ball: float = 40.0
    thickness: float = 8.0
    clearance: float = 0.5
    wall: float = 6.0
    flange: float = 8.0
    margin: float = 0.15
    segments: int = 128
    hole: float = 6.6
    bolt_circle: float = 15.0  # outside the wall
    rim: float = 30.0  # flange width
    key_angles: tuple[float, ...] = (10.0, 130.0)
    jacket_key_count: int = 3
    shift_hole_b: float = 0.0
    undercut: float = 0.0
    dent: float = 0.0
    thin_rubber: float = 0.0
    overlap: float = 0.0
    pin: float = 0.0
    loose_chip: bool = False
    blind_hole: bool = False
    notch: bool = False
    thick_outside: float = 0.0
    lump: float = 0.0
    boss: bool = False


def ball(radius, plan):
    """A ball whose facets lie outside the sphere, so that it is nowhere thinner than asked."""
    return m3.Manifold.sphere(radius / np.cos(np.pi / plan.segments) ** 2, plan.segments)


def around(count, radius, offset=0.0):
    angles = np.radians(offset + 360.0 / count * np.arange(count))
    return np.stack([radius * np.cos(angles), radius * np.sin(angles)], 1)


def jacket_domes(plan, grow):
    """Three domes on the side that faces +z, standing 1.5 mm proud of the jacket."""
    domes = []
    for x, y in around(3, 1.0, 20.0)[: plan.jacket_key_count]:
        tilt = np.radians(35)
        way = np.array([np.sin(tilt) * x, np.sin(tilt) * y, np.cos(tilt)])
        domes.append(
            m3.Manifold.sphere(6.0 + grow, 64).translate(way * (plan.ball + plan.thickness + plan.margin - 4.5))
        )
    return domes


def dome_tops(plan):
    tilt, reach = np.radians(35), plan.ball + plan.thickness + plan.margin + 1.5
    return [
        np.array([np.sin(tilt) * x, np.sin(tilt) * y, np.cos(tilt)]) * reach
        for x, y in around(3, 1.0, 20.0)[: plan.jacket_key_count]
    ]


def union(solids):
    return m3.Manifold.batch_boolean(solids, m3.OpType.Add)


def half(plan, second):
    """A half shell in its own pull frame."""
    inner = plan.ball + plan.thickness + plan.clearance + plan.margin
    outer = inner + plan.wall
    solid = union(
        [
            ball(outer, plan),
            *jacket_domes(plan, plan.clearance + plan.wall + plan.margin),
            m3.Manifold.cylinder(2 * plan.flange, outer + plan.rim, -1, 96, True),
        ]
    )
    solid -= union([ball(inner, plan), *jacket_domes(plan, plan.clearance)])
    solid = solid.trim_by_plane((0, 0, 1), 0.0)
    holes = []
    for i, (x, y) in enumerate(around(6, outer + plan.bolt_circle)):
        shift = plan.shift_hole_b if second and i == 0 else 0.0
        low = 3.0 if second and plan.blind_hole and i == 1 else -1.0
        holes.append(m3.Manifold.cylinder(40, plan.hole / 2, -1, 48).translate((x, y + shift, low)))
    solid -= union(holes)
    for angle in plan.key_angles:
        turned = np.radians(180.0 - angle if second else angle)
        at = (outer + plan.bolt_circle) * np.array([np.cos(turned), np.sin(turned), 0])
        if second:
            solid -= m3.Manifold.cylinder(4.2, 5.2, 3.2, 48).translate((at[0], at[1], 0)) + m3.Manifold.cylinder(
                1, 5.2, -1, 48
            ).translate((at[0], at[1], -1))
        else:
            solid += m3.Manifold.cylinder(5, 5.5, 3, 48).rotate((180, 0, 0)).translate((at[0], at[1], 1))
    if not second:
        if plan.dent:
            solid -= m3.Manifold.cylinder(plan.dent + 20, 4, -1, 32).translate((0, 0, outer - plan.dent))
        if plan.thin_rubber:
            tip = plan.ball + plan.thickness - plan.thin_rubber
            solid += m3.Manifold.cylinder(8, 3, -1, 32).translate((0, 0, tip))
        if plan.pin:
            tip = plan.ball + plan.thickness + plan.margin - plan.pin
            solid += m3.Manifold.cylinder(8, 1, -1, 64).translate((0, 0, tip))
        if plan.loose_chip:
            solid += m3.Manifold.cube((3, 3, 3)).translate((0, 0, outer + 10))
        if plan.notch:
            x = outer + plan.bolt_circle
            solid -= m3.Manifold.cube((40, 12, 40)).translate((x + plan.hole / 2 + 0.8, -6, -1))
        if plan.boss:
            x = outer + plan.bolt_circle
            solid += m3.Manifold.cube((4, 12, 10)).translate((x + 4, -6, plan.flange - 1))
        if plan.overlap:
            way = np.array([np.cos(0.9), np.sin(0.9), 0]) * (outer + plan.bolt_circle)
            solid += m3.Manifold.cylinder(plan.overlap + 1, 5, -1, 32).translate((way[0], way[1], -plan.overlap))
    if plan.undercut:
        solid -= ledge(plan, plan.clearance)
    return solid


def ledge(plan, grow):
    """A ball of rubber on the side of the jacket, 20 mm over the parting: what is under it cannot be drawn."""
    radius = plan.ball + plan.thickness
    return m3.Manifold.sphere(plan.undercut + grow, 64).translate((np.sqrt(radius**2 - 400), 0, 20.0))


def rubber(plan):
    """The jacket in piece A's pull frame, pattern not yet taken out."""
    radius = plan.ball + plan.thickness + plan.margin
    domes = jacket_domes(plan, 0.0)
    solid = union([ball(radius, plan), *domes, *(d.rotate((0, 180, 0)) for d in domes)])
    if plan.undercut:
        solid += ledge(plan, 0.0)
    return solid


def part(name, kind, solid, matrix, genus):
    solid = solid.transform(matrix[:3])
    mesh = solid.to_mesh64()
    return Part(
        name=name,
        kind=kind,
        vertices_mm=np.array(mesh.vert_properties[:, :3]),
        faces=np.array(mesh.tri_verts).astype(np.int32),
        volume_mm3=solid.volume(),
        pull=None if kind == "jacket" else tuple(matrix[:3, 2].tolist()),
        genus=genus,
    )


def points(local, matrix):
    return tuple(tuple((matrix[:3, :3] @ np.asarray(p) + matrix[:3, 3]).tolist()) for p in local)


def settings(plan, **more):
    base = {
        "name": "ball",
        "pattern": {"file": "ball.stl"},
        "jacket": {"thickness_mm": plan.thickness, "clearance_mm": plan.clearance, "draft_deg": 3.0},
        "shell": {"wall_mm": plan.wall, "material": "petg"},
        "flange": {"width_mm": plan.rim, "thickness_mm": plan.flange},
        "bolts": {"size": "M6", "pitch_mm": 80.0},
        "raster": {"pitch_mm": 0.5},
    }
    return Settings.model_validate({**base, **more})


def handmade(plan=None, **more):
    """The whole mold; `more` are tables of the job file."""
    plan = plan or Plan()
    outer = plan.ball + plan.thickness + plan.clearance + plan.margin + plan.wall
    if plan.thick_outside:
        made = replace(plan, thickness=plan.thickness + plan.thick_outside, thick_outside=0.0)
        return replace_settings(handmade(made), settings(plan, **more))
    pattern = m3.Manifold.sphere(plan.ball, 2 * plan.segments)
    body = rubber(plan)
    a, b = half(plan, False), half(plan, True)
    if plan.lump:
        lump = m3.Manifold.cylinder(plan.lump + 20, 9, -1, 48).translate((0, 0, plan.ball + plan.thickness - 20))
        body += lump
        a -= m3.Manifold.cylinder(plan.lump + 20.5, 9.5, -1, 48).translate((0, 0, plan.ball + plan.thickness - 20))
    mesh = pattern.transform(PULL_A[:3]).to_mesh64()
    skin = Skin(
        np.array(mesh.vert_properties[:, :3]),
        np.array(mesh.tri_verts).astype(np.int32),
        pattern.volume(),
        "as it is",
        0,
    )
    circle = around(6, outer + plan.bolt_circle)
    bolts = tuple(
        Bolt(
            ("shell A", "shell B"),
            "M6",
            points([(x, y, plan.flange), (x, y, -plan.flange)], PULL_A),
            ("washer", "washer"),
            "closing",
            plan.hole,
        )
        for x, y in circle
    )
    keys = tuple(
        Key(("shell A", "shell B"), "cone", points([p], PULL_A)[0], 5.0, 4.0)
        for p in (
            (outer + plan.bolt_circle) * np.array([np.cos(np.radians(t)), np.sin(np.radians(t)), 0])
            for t in plan.key_angles
        )
    )
    jacket_keys = tuple(
        JacketKey(name, points([top], matrix)[0], 6.0, 1.5)
        for name, matrix in (("shell A", PULL_A), ("shell B", PULL_B))
        for top in dome_tops(plan)
    )
    design = MoldDesign(
        settings=settings(plan, **more),
        pattern=Pattern(
            skin.vertices_mm, skin.faces, skin, "none", MultiPolygon(), np.eye(4), "ball.stl", "0" * 64, ()
        ),
        pieces=(),
        plates=(),
        bolts=bolts,
        keys=keys,
        jacket_keys=jacket_keys,
        assembly=("shell A", "shell B"),
    )
    genus = 6
    return Mold(
        design,
        (
            part("shell A", "shell", a, PULL_A, genus),
            part("shell B", "shell", b, PULL_B, genus),
            part("jacket", "jacket", body - pattern, PULL_A, None),
        ),
    )


def replace_settings(mold, new):
    return replace(mold, design=replace(mold.design, settings=new))
