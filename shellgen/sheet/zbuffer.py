"""A small z-buffer renderer: triangles seen by a parallel camera, drawn without a display.

Screen points are (x right, y down, depth towards the viewer) in sub-pixels; a larger depth is nearer. Smooth surfaces
are shaded with corner normals that average only those neighbours within 35 degrees, so creases stay crisp; ink lines
stand wherever depth, normal or body changes abruptly between sub-pixels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray
from shellgen.sheet.scene import Camera
from shellgen.solid.recipe import Point

ByteArray = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]

CREASE_COS = math.cos(math.radians(35.0))


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One mesh to draw: vertices_mm (n, 3), faces (m, 3), a colour, or colours (n, 3) 0-255 per vertex instead.

    closed : a closed mesh with outward normals, whose faces that look away need not be drawn. cap : the body is cut
    open by the render's clip plane, and its cut face has this colour. It must be closed then.
    """

    vertices_mm: FloatArray
    faces: IntArray
    colour: Colour
    vertex_colours: npt.NDArray[np.float32] | None = None
    closed: bool = False
    cap: Colour | None = None


@dataclass(frozen=True, slots=True)
class Clip:
    """A plane that takes away the side its normal points to."""

    origin: Point
    normal: Point


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A drawn scene. rgb : (height, width, 3) uint8. depth_mm : (height·s, width·s) float32 towards the viewer from the
    camera's centre, -inf where nothing is drawn; body : same shape, the index of the body drawn, -1 for none.
    """

    rgb: ByteArray
    depth_mm: npt.NDArray[np.float32]
    body: npt.NDArray[np.int16]


def render(
    bodies: Sequence[Body],
    camera: Camera,
    paper: Colour,
    ink: Colour,
    clip: Clip | None = None,
    contour_mm: float = 0.0,
    oversample: int = 2,
    threads: int = 2,
) -> Picture:
    """Draw bodies through a camera on plain paper.

    clip : cuts open the bodies that have a `cap`; the others stay whole. contour_mm : step of depth contours, counted
    from half a step beyond the camera's centre, 0 for none. oversample : sub-pixels per pixel along each axis.
    The result does not depend on `threads` (row bands).
    """
    from shellgen.sheet import zkernel

    height, width = camera.height_px * oversample, camera.width_px * oversample
    cut = [clip is not None and body.cap is not None for body in bodies]
    order = sorted(range(len(bodies)), key=lambda k: not cut[k])
    screen, faces, body_of, colours, split = _joined(bodies, order, cut, camera, oversample)
    corners = zkernel.corner_normals(screen, faces, CREASE_COS)
    depth = np.full((height, width), -np.inf, np.float32)
    owner = np.full((height, width), -1, np.int32)
    seen = np.full((height, width), -1, np.int16)
    rgb = np.empty((camera.height_px, camera.width_px, 3), np.uint8)
    look = np.array([*paper, *ink], np.float32)
    flat = np.array([body.cap or body.colour for body in bodies], np.float32).reshape(-1, 3)
    whole = np.array([body.closed and not cut[k] for k, body in enumerate(bodies)], np.bool_)
    skipped = whole[body_of] & zkernel.look_away(screen, faces)
    plane = _screen_plane(clip, camera, oversample)
    none = np.zeros(4)
    step = contour_mm * oversample / camera.mm_per_px

    def draw(first: int, last: int) -> None:
        rows = first * oversample, last * oversample
        if split:
            zkernel.rasterise(screen, faces, skipped, 0, split, plane, depth, owner, *rows)
            zkernel.cap(screen, faces, plane, depth, owner, *rows)
        zkernel.rasterise(screen, faces, skipped, split, len(faces), none, depth, owner, *rows)

    def shade(first: int, last: int) -> None:
        zkernel.shade(
            screen,
            faces,
            body_of,
            corners,
            colours,
            flat,
            plane,
            depth,
            owner,
            look,
            step,
            oversample,
            rgb,
            seen,
            first,
            last,
        )

    cuts = [camera.height_px * k // threads for k in range(threads + 1)]
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(draw, cuts[:-1], cuts[1:]))
        list(pool.map(shade, cuts[:-1], cuts[1:]))
    depth *= np.float32(camera.mm_per_px / oversample)
    return Picture(rgb, depth, seen)


def _joined(
    bodies: Sequence[Body], order: Sequence[int], cut: Sequence[bool], camera: Camera, oversample: int
) -> tuple[FloatArray, IntArray, npt.NDArray[np.int16], npt.NDArray[np.float32], int]:
    """All bodies as one mesh in sub-pixels, the cut ones first; body and colour tables; the number of cut faces."""
    points = sum(len(body.vertices_mm) for body in bodies)
    count = sum(len(body.faces) for body in bodies)
    screen, colours = np.empty((points, 3)), np.empty((points, 3), np.float32)
    faces, body_of = np.empty((count, 3), np.int32), np.empty(count, np.int16)
    at, row, split = 0, 0, 0
    for index in order:
        body = bodies[index]
        stop, end = at + len(body.vertices_mm), row + len(body.faces)
        screen[at:stop] = camera.project(body.vertices_mm)
        faces[row:end] = body.faces
        faces[row:end] += at
        body_of[row:end] = index
        colours[at:stop] = body.colour if body.vertex_colours is None else body.vertex_colours
        at, row = stop, end
        split = end if cut[index] else split
    screen[:, :2] *= oversample
    screen[:, 2] *= oversample / camera.mm_per_px
    return screen, faces, body_of, colours, split


def _screen_plane(clip: Clip | None, camera: Camera, oversample: int) -> FloatArray:
    """(4,) a, b, c, d in sub-pixels: a·x + b·y + c·z + d > 0 is taken away; zeros for no plane."""
    if clip is None:
        return np.zeros(4)
    normal = np.array(clip.normal) / np.linalg.norm(clip.normal)
    a, b, c = camera.axes @ normal
    x, y, z = camera.project(np.array([clip.origin]))[0]
    sub = oversample
    return np.array([a, -b, c, -(a * x * sub - b * y * sub + c * z * sub / camera.mm_per_px)])
