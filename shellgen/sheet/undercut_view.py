"""Picture of the undercut map: the pattern from both sides, coloured by the rubber beyond the asked thickness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from PIL import Image

from shellgen.envelope.raster import FloatArray
from shellgen.parting.plane_cost import PlaneCost
from shellgen.parting.undercut import UndercutMap, UndercutSpot
from shellgen.pattern.pattern import IntArray
from shellgen.sheet import paper
from shellgen.sheet.scene import Camera, fitted, look_along
from shellgen.sheet.strokes import Strokes
from shellgen.sheet.zbuffer import Body, Picture, render

DEEP: paper.Colour = (92, 60, 150)
HALF_WIDTH = paper.SIZE[0] // 2
FINEST = 160  # edges are parted down to this share of the pattern's size, or the rubber's thickness
MARKED = 5
BEHIND_MM = 2.0
LABEL_PX = (190, 32)  # room of a figure


def drawn_mesh(vertices_mm: FloatArray, faces: IntArray, thickness_mm: float) -> tuple[FloatArray, IntArray]:
    """The pattern with its long edges parted, so that a colour per vertex shows what lies on large triangles."""
    from trimesh.remesh import subdivide_to_size

    used, place = np.unique(faces, return_inverse=True)
    vertices, small = vertices_mm[used], place.reshape(-1, 3)
    longest = max(float(np.ptp(vertices, axis=0).max()) / FINEST, 0.5 * thickness_mm)
    sides = np.linalg.norm(vertices[small] - vertices[np.roll(small, 1, axis=1)], axis=2)
    if sides.max() <= longest:
        return vertices, small.astype(np.int32)
    finer, parted = subdivide_to_size(vertices, small, max_edge=longest, max_iter=16)
    return np.asarray(finer, float), np.asarray(parted, np.int32)


def draw_undercuts(
    vertices_mm: FloatArray, faces: IntArray, found: UndercutMap, *, plane: PlaneCost, job: str, number: int
) -> Image.Image:
    """One page. vertices_mm, faces : what `found` was worked out on. number : of the plane, 0 for the middle one."""
    normal = np.array(plane.normal)
    across = np.cross(normal, [0.0, 0.0, 1.0]) if abs(normal[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    deepest = max(float(found.excess_mm.max(initial=0.0)), 1.0)
    share = np.clip(found.excess_mm / deepest, 0, 1)[:, None] ** 0.6
    colours = ((1 - share) * np.array(paper.PATTERN) + share * np.array(DEEP)).astype(np.float32)
    body = Body(vertices_mm, faces, paper.PATTERN, vertex_colours=colours)
    cameras = [_camera(side * normal + 0.55 * across, vertices_mm) for side in (1.0, -1.0)]
    scale = max(camera.mm_per_px for camera in cameras)
    page = paper.blank()
    views = [replace(camera, mm_per_px=scale) for camera in cameras]
    pictures = [render([body], view, paper.PAPER, paper.INK) for view in views]
    for k, picture in enumerate(pictures):
        page.paste(Image.fromarray(picture.rgb), (k * HALF_WIDTH, 0))
    _mark(page, found.spots[:MARKED], views, pictures)
    shown = "middle plane" if number == 0 else f"plane {number}"
    paper.title(page, job, f"undercuts, {shown}", f"at most {deepest:.0f} mm beyond the asked thickness")
    paper.legend(page, [("rubber as thick as asked", paper.PATTERN), (f"{deepest:.0f} mm beyond it", DEEP)])
    paper.scale_bar(page, scale)
    return page


def _mark(
    page: Image.Image, spots: Sequence[UndercutSpot], views: Sequence[Camera], pictures: Sequence[Picture]
) -> None:
    """A ring and a figure at each spot, in the view that sees it; "behind" where neither does."""
    strokes, labels = Strokes(), []
    for rank, spot in enumerate(spots, 1):
        hidden = [_hidden_mm(spot, *pair) for pair in zip(views, pictures, strict=True)]
        k = int(np.argmin(hidden))
        x, y = views[k].at(spot.at_mm)
        strokes.circle((x + k * HALF_WIDTH, y), 9.0, paper.INK, 2.5)
        words = f"{rank}: {spot.excess_mm:.0f} mm" + (" (behind)" if hidden[k] > BEHIND_MM else "")
        labels.append(((x + k * HALF_WIDTH, y - 26.0), words))
    strokes.ink(page)
    taken: list[tuple[float, float]] = []
    for (x, y), words in labels:
        while any(abs(x - other) < LABEL_PX[0] and abs(y - level) < LABEL_PX[1] for other, level in taken):
            y -= LABEL_PX[1]
        taken.append((x, y))
        paper.boxed(page, (x, y), words)


def _hidden_mm(spot: UndercutSpot, view: Camera, picture: Picture) -> float:
    """How far behind what is drawn a spot lies."""
    x, y, depth = view.project(np.array([spot.at_mm]))[0]
    finer = picture.depth_mm.shape[0] / picture.rgb.shape[0]
    rows, columns = picture.depth_mm.shape
    i, j = int(np.clip(y * finer, 0, rows - 1)), int(np.clip(x * finer, 0, columns - 1))
    near = picture.depth_mm[max(i - 3, 0) : i + 4, max(j - 3, 0) : j + 4]
    drawn = near[np.isfinite(near)]
    return max(0.0, float(drawn.min()) - float(depth)) if drawn.size else 0.0


def _camera(towards: FloatArray, seen: FloatArray) -> Camera:
    """Half the page, looked at a little from above."""
    frame = (paper.MARGIN // 2, 130, HALF_WIDTH - paper.MARGIN // 2, paper.SIZE[1] - 150)
    view = look_along((float(towards[0]), float(towards[1]), float(towards[2] + 0.45)))
    return fitted(view, seen, (HALF_WIDTH, paper.SIZE[1]), frame)
