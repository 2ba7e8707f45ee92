"""Two patterns made by code: a park gate's fluted finial, a seaside pageant's horn bell. Lengths mm, +z up."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from shellgen.errors import PatternError
from shellgen.pattern.pattern import FloatArray, IntArray

# Outlines as (radius, height) from the bottom's middle to the top's, joined by a smooth curve without overshoot.
_FINIAL = (
    (0, 0), (44, 0), (49, 3), (50, 9), (46, 14), (38, 18), (27, 27), (20, 42), (18, 56), (21, 66), (28, 73),
    (35, 84), (38, 98), (35, 112), (27, 123), (19, 131), (14.5, 141), (14, 148), (17, 154), (25, 157), (27, 162),
    (25, 167), (24, 171), (34, 181), (48, 198), (56, 218), (57, 236), (52, 256), (43, 274), (34, 288), (29, 296),
    (32, 300), (34, 304), (31, 308), (23, 312), (18, 318), (19, 326), (20, 332), (17, 343), (10, 358), (5.5, 370),
    (4, 376), (2, 379.4), (0, 380),
)  # fmt: skip
_BELL_MOUTH, _BELL_THROAT, _BELL_HEIGHT = 150.0, 17.0, 450.0
_BELL_BANDS = ((96.0, 7.0, 3.5), (118.0, 4.0, 2.0), (232.0, 6.0, 3.0), (330.0, 5.0, 2.5), (400.0, 9.0, 5.0))
_BELL_LEAN = 42.0  # how far the throat leans to +x


def make_demo(name: str) -> tuple[FloatArray, IntArray]:
    """A demo pattern as closed triangles with outward normals: vertices (n, 3) [mm], faces (m, 3).

    name : "gate-finial" (380 mm, on a stem) or "horn-bell" (450 mm, flat base for a board). Same bytes every time.
    """
    if name not in _MAKERS:
        raise PatternError(f"There is no demo '{name}'. Use one of {', '.join(sorted(_MAKERS))}.")
    return _MAKERS[name]()


def write_demo(name: str, path: Path) -> None:
    """Write a demo pattern as binary STL."""
    vertices, faces = make_demo(name)
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    rows = np.zeros(len(faces), record)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    rows["normal"] = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    rows["corners"] = corners
    path.write_bytes(b"pattern".ljust(80, b" ") + len(faces).to_bytes(4, "little") + rows.tobytes())


def _finial() -> tuple[FloatArray, IntArray]:
    r, z = _smooth(np.array(_FINIAL, float), 260)
    lobes, sides = 14, 14 * 16
    turn = 2 * np.pi * np.arange(sides) / sides
    arris = 1 - np.abs(np.sin(lobes * turn / 2))  # 1 on the sharp edge between two hollow flutes
    bud = _window(z, 176.0, 205.0, 262.0, 287.0)
    foot = _window(z, 20.0, 32.0, 44.0, 58.0)
    depth = 0.13 * bud + 0.10 * foot
    radius = r[:, None] * (1 - depth[:, None] * (1 - arris[None, :]))
    tip = 1 - 0.05 * _window(z, 320.0, 330.0, 340.0, 356.0)[:, None] * (1 - np.cos(7 * turn))[None, :]
    return _lofted(radius * tip, z, turn, np.zeros_like(z))


def _bell() -> tuple[FloatArray, IntArray]:
    z = np.linspace(9.0, 432.0, 230)
    horn = (z + 26.0) ** -0.72  # close to the flare of a real horn: radius falls with a power of the distance
    share = (horn - horn[-1]) / (horn[0] - horn[-1])
    r = _BELL_THROAT + (_BELL_MOUTH - _BELL_THROAT) * share
    for middle, width, rise in _BELL_BANDS:
        r = r + rise * np.exp(-(((z - middle) / width) ** 4))
    bead = np.linspace(-0.5 * np.pi, 0.38 * np.pi, 18)
    rim_r, rim_z = _BELL_MOUTH - 5.0 + 9.0 * np.cos(bead), 9.0 + 9.0 * np.sin(bead)
    top = np.linspace(0.0, 0.5 * np.pi, 16)
    cap_r, cap_z = r[-1] * np.cos(top), z[-1] + (_BELL_HEIGHT - z[-1]) * np.sin(top)
    body = z > rim_z[-1] + 1.0
    base = np.linspace(0.0, rim_r[0], 20)[:-1]
    radius = np.concatenate([base, rim_r, r[body], cap_r[1:]])
    height = np.concatenate([np.zeros(len(base)), rim_z, z[body], cap_z[1:]])
    turn = 2 * np.pi * np.arange(180) / 180
    lean = _BELL_LEAN * (np.maximum(height - 60.0, 0.0) / (_BELL_HEIGHT - 60.0)) ** 2
    return _lofted(np.repeat(radius[:, None], len(turn), axis=1), height, turn, lean)


def _smooth(outline: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Points at equal steps along a monotone cubic curve through the outline: (radius, height)."""
    from scipy.interpolate import PchipInterpolator

    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(outline, axis=0), axis=1))])
    curve = PchipInterpolator(along, outline)
    fine = curve(np.linspace(0.0, along[-1], 20 * count))
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(fine, axis=0), axis=1))])
    even = np.linspace(0.0, length[-1], count)
    return np.maximum(np.interp(even, length, fine[:, 0]), 0.0), np.interp(even, length, fine[:, 1])


def _window(z: FloatArray, a: float, b: float, c: float, d: float) -> FloatArray:
    """0 up to a, smoothly to 1 at b, 1 to c, smoothly to 0 at d."""
    up, down = np.clip((z - a) / (b - a), 0, 1), np.clip((d - z) / (d - c), 0, 1)
    return (up * up * (3 - 2 * up)) * (down * down * (3 - 2 * down))


def _lofted(radius: FloatArray, z: FloatArray, turn: FloatArray, lean: FloatArray) -> tuple[FloatArray, IntArray]:
    """Close rings of radius (rings, sides) at heights z, shifted by `lean` along x; first and last ring are points."""
    rings, sides = radius.shape
    x = lean[:, None] + radius * np.cos(turn)
    y = radius * np.sin(turn)
    inner = np.stack([x, y, np.repeat(z[:, None], sides, axis=1)], axis=2)[1:-1].reshape(-1, 3)
    ends = np.array([[lean[0], 0.0, z[0]], [lean[-1], 0.0, z[-1]]])
    i, j = np.arange(sides), (np.arange(sides) + 1) % sides
    steps = (np.arange(rings - 3) * sides)[:, None]
    low, low_next, up, up_next = i + steps, j + steps, i + steps + sides, j + steps + sides
    walls = [np.column_stack([low.ravel(), low_next.ravel(), up_next.ravel()])]
    walls += [np.column_stack([low.ravel(), up_next.ravel(), up.ravel()])]
    bottom, top, last = len(inner), len(inner) + 1, (rings - 3) * sides
    fans = [np.column_stack([j, i, np.full(sides, bottom)]), np.column_stack([last + i, last + j, np.full(sides, top)])]
    return np.vstack([inner, ends]), np.vstack([*walls, *fans]).astype(np.int32)


_MAKERS: dict[str, Callable[[], tuple[FloatArray, IntArray]]] = {"gate-finial": _finial, "horn-bell": _bell}
