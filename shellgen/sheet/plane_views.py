"""Picture of a candidate parting plane: both halves of the filled jacket, the filled rubber in a colour of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from PIL import Image

from shellgen.envelope.raster import FloatArray
from shellgen.parting.columns import EMPTY, Columns, columns_along
from shellgen.parting.plane_cost import PlaneCost, Workpiece
from shellgen.pattern.pattern import IntArray
from shellgen.sheet import paper
from shellgen.sheet.scene import Camera, fitted, look_along
from shellgen.sheet.zbuffer import Body, render

NODES = 240
FILL: paper.Colour = (92, 60, 150)
FACE: paper.Colour = paper.SHELLS[0]
HALF_WIDTH = paper.SIZE[0] // 2


def draw_plane(work: Workpiece, plane: PlaneCost, *, job: str, number: int) -> Image.Image:
    """One page: the jacket from either side of the plane, its mating face, and what the plane costs."""
    from scipy.spatial import cKDTree

    normal = np.array(plane.normal)
    columns = columns_along(work.body, normal, draft_deg=work.draft_deg, on_board=work.on_board, nodes_along=NODES)
    tree = cKDTree(work.body.vertices_mm)
    deepest = 2 * work.body.thickness_mm
    face = _mating_face(columns, plane.offset_mm, work)
    page = paper.blank()
    halves = (columns.drafted_upper_mm, 1.0), (-columns.drafted_lower_mm, -1.0)
    shells = [_half(columns, heights, side, plane.offset_mm) for heights, side in halves]
    seen = np.vstack([face.vertices_mm, *(vertices for vertices, _ in shells)])
    cameras = [_camera(side * normal + 0.55 * columns.axes[0], seen) for side in (1.0, -1.0)]
    scale = max(camera.mm_per_px for camera in cameras)
    for k, ((vertices, faces), camera) in enumerate(zip(shells, cameras, strict=True)):
        excess = tree.query(vertices, workers=2)[0] - work.body.voxel_mm
        share = np.clip(excess / deepest, 0, 1)[:, None] ** 0.6
        colours = (1 - share) * np.array(paper.RUBBER) + share * np.array(FILL)
        jacket = Body(vertices, faces, paper.RUBBER, vertex_colours=colours.astype(np.float32))
        picture = render([jacket, face], replace(camera, mm_per_px=scale), paper.PAPER, paper.INK)
        page.paste(Image.fromarray(picture.rgb), (k * HALF_WIDTH, 0))
    shown = "middle plane" if number == 0 else f"plane {number}"
    facts = f"fills {plane.fill_cm3:.0f} cm3, stepped {plane.stepped_fill_cm3:.0f} cm3"
    paper.title(page, job, shown, f"{facts}, parting line {plane.flange_length_mm:.0f} mm")
    entries = [("rubber as thick as asked", paper.RUBBER), (f"{deepest:.0f} mm and more beyond", FILL)]
    paper.legend(page, [*entries, ("mating face", FACE)])
    paper.scale_bar(page, scale)
    return page


def _camera(towards: FloatArray, seen: FloatArray) -> Camera:
    """Half the page, looked at a little from above."""
    frame = (paper.MARGIN // 2, 130, HALF_WIDTH - paper.MARGIN // 2, paper.SIZE[1] - 150)
    view = look_along((float(towards[0]), float(towards[1]), float(towards[2] + 0.45)))
    return fitted(view, seen, (HALF_WIDTH, paper.SIZE[1]), frame)


def _grid_mesh(columns: Columns, heights: FloatArray, cells: npt.NDArray[np.bool_]) -> tuple[FloatArray, IntArray]:
    """Triangles over the cells (rows − 1, columns − 1) of a raster, in the mold frame, upwards along the pull."""
    grid = columns.grid
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    index = np.arange(heights.size).reshape(heights.shape)
    a, b, c, d = (part[cells] for part in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    used, place = np.unique(faces, return_inverse=True)
    points = np.stack([x, y, heights], axis=2).reshape(-1, 3)[used] @ columns.axes
    return points, place.reshape(-1, 3).astype(np.int32)


def _half(columns: Columns, heights: FloatArray, side: float, offset_mm: float) -> tuple[FloatArray, IntArray]:
    """Outside of one filled half down to the plane. heights : along the half's own pull, `side` times the normal."""
    level = side * offset_mm
    above = heights > level
    cells = above[:-1, :-1] | above[:-1, 1:] | above[1:, :-1] | above[1:, 1:]
    vertices, faces = _grid_mesh(columns, side * np.maximum(heights, level), cells)
    return vertices, faces if side > 0 else np.ascontiguousarray(faces[:, ::-1])


def _mating_face(columns: Columns, offset_mm: float, work: Workpiece) -> Body:
    """The strip of the plane round the jacket's shadow, as wide as the flange."""
    from scipy.ndimage import distance_transform_edt

    grid = columns.grid
    pad = int(np.ceil(work.flange_mm / grid.pitch_mm)) + 1
    sides = ((0 if work.on_board else pad, pad), (pad, pad))
    shadow = np.pad(columns.upper_mm > -EMPTY, sides)
    near = distance_transform_edt(~shadow) * grid.pitch_mm <= work.flange_mm
    wide = _padded(columns, sides, shadow.shape)
    cells = near[:-1, :-1] & near[:-1, 1:] & near[1:, :-1] & near[1:, 1:]
    vertices, faces = _grid_mesh(wide, np.full(shadow.shape, offset_mm), cells)
    return Body(vertices, faces, FACE)


def _padded(columns: Columns, sides: tuple[tuple[int, int], tuple[int, int]], shape: tuple[int, ...]) -> Columns:
    """The columns' frame with a wider raster; its heights are not used."""
    grid = columns.grid
    (below, _), (left, _) = sides
    x0, y0 = grid.x0_mm - left * grid.pitch_mm, grid.y0_mm - below * grid.pitch_mm
    return replace(columns, grid=replace(grid, x0_mm=x0, y0_mm=y0, rows=shape[0], columns=shape[1]))
