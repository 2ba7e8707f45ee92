"""The rubber beyond the plain thickness that the built parting costs, and what the plane would have cost instead."""

from __future__ import annotations

import numpy as np

from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.job.model import Settings
from shellgen.mold.drape import spec_of
from shellgen.mold.lip import lip_facets, lip_outline
from shellgen.mold.mold import MoldDesign
from shellgen.parting.columns import columns_along
from shellgen.parting.offset_body import VOXELS_ALONG, offset_body
from shellgen.parting.surface import SteppedParting
from shellgen.pattern.pattern import IntArray, Pattern

PARTS = 6  # a cell that the surface crosses is summed in that many parts each way
VOXELS_THICK, MOST_VOXELS = 1.4, 1.5e7  # voxels to the rubber's thickness where a body's are not finer; of a body
OFF_BOARD_MM = 0.01  # the lip is counted if it lies just off the board


def fill_quantities(design: MoldDesign, rubber_mm3: float, plain_mm3: float) -> dict[str, float]:
    """`fill_cm3` of the built mold; for halves along the silhouette that is `stepped_fill_cm3`, beside the plane's.

    `keys_cm3`, the rubber of the jacket keys with all that they raise beside them, is told apart from it.

    rubber_mm3 : of the finished jacket. plain_mm3 : of the plain one, see the function of that name: the pattern (with
    its lip) grown by the asked thickness and what the raster sets it out by; jacket keys are not counted as fill.
    """
    keys = {"keys_cm3": design.keys_mm3 / 1e3} if design.jacket_keys else {}
    whole = rubber_mm3 + design.pattern.skin.volume_mm3 - design.keys_mm3
    built = (whole - plain_mm3) / 1e3
    parting = design.pieces[0].parting
    if isinstance(parting, SteppedParting):
        jackets, on_board = (design.pieces[0].jacket, design.pieces[1].jacket), design.pattern.mount != "none"
        stepped, plane = (filled_mm3(jackets, s, parting.surface.grid, on_board) for s in (parting.surface, None))
        return {"fill_cm3": built + (plane - stepped) / 1e3, "stepped_fill_cm3": built, **keys}
    if design.settings.parting.kind == "plane" and design.settings.parting.follow == "silhouette":
        return {"fill_cm3": built, "stepped_fill_cm3": built, **keys}
    return {"fill_cm3": built, **keys}


def plain_mm3(settings: Settings, pattern: Pattern) -> float:
    """Volume of the pattern, with its lip, grown by the plain thickness; above the board where there is one.

    The same for every parting of a pattern, so that fills of two partings differ exactly as their jackets do.
    """
    skin = pattern.skin
    on_board = pattern.mount != "none"
    vertices: FloatArray = skin.vertices_mm
    faces: IntArray = skin.faces
    if on_board:
        lip = lip_facets(lip_outline(pattern.footprint, settings.mount.lip_mm), 1.0)
        disc = lip.faces[(lip.points[lip.faces][:, :, 2] == 0.0).all(axis=1)]
        faces = np.concatenate([faces, disc + len(vertices)]).astype(np.int32)
        vertices = np.concatenate([vertices, lip.points + np.array([0.0, 0.0, OFF_BOARD_MM])])
    thickness = spec_of(settings, "A").jacket_mm
    extent = np.ptp(vertices[np.unique(faces)], axis=0)
    body = offset_body(
        vertices,
        faces,
        thickness_mm=thickness,
        volume_mm3=skin.volume_mm3 if not on_board else None,
        on_board=on_board,
        voxels_along=voxels_along(extent, thickness),
    )
    grown = body.volume_mm3
    if on_board:
        grown = columns_along(body, np.array([1.0, 0.0, 0.0]), on_board=True, nodes_along=200).volume_mm3
    # voxels too coarse for thin rubber grow it by more; between its samples the body lies in by half their error
    by = body.thickness_mm - 0.5 * body.sample_error_mm
    return skin.volume_mm3 + (grown - skin.volume_mm3) * thickness / by


def voxels_along(extent_mm: FloatArray, thickness_mm: float) -> int:
    """Cells on the longest side of a body (3,) grown by a thickness, so many that they are smaller than that."""
    whole = extent_mm + 2 * thickness_mm
    wanted = max(VOXELS_ALONG, int(np.ceil(VOXELS_THICK * whole.max() / thickness_mm)))
    cells = float(np.prod(whole / whole.max())) * wanted**3
    return max(VOXELS_ALONG, int(wanted * min((MOST_VOXELS / cells) ** (1 / 3), 1.0)))


def filled_mm3(jackets: tuple[Envelope, Envelope], surface: Envelope | None, grid: Grid, on_board: bool) -> float:
    """Rubber and pattern of both halves up to a stepped surface (or to the plane, None), from the jackets' heights.

    surface : on `grid`, in the first half's frame.
    """
    x, y = np.meshgrid(grid.x_mm, grid.y_mm)
    level = np.zeros(x.shape) if surface is None else surface.heights_mm
    low = np.zeros(grid.rows - 1)
    if on_board:
        low = np.clip(-grid.y_mm[:-1] / grid.pitch_mm, 0.0, 1.0)
    cells = sum(_above_zero(z) for z in (jackets[0].at(x, y) - level, jackets[1].at(-x, y) + level))
    return float((cells * (1.0 - low)[:, None]).sum()) * grid.pitch_mm**2


def _above_zero(nodes_mm: FloatArray) -> FloatArray:
    """Mean of the part above zero in each cell (rows - 1, columns - 1), heights bilinear between the nodes."""
    corners = np.stack([nodes_mm[:-1, :-1], nodes_mm[:-1, 1:], nodes_mm[1:, :-1], nodes_mm[1:, 1:]])
    mean = np.maximum(corners.mean(axis=0), 0.0)
    mixed = (corners.min(axis=0) < 0) & (corners.max(axis=0) > 0)
    t = (np.arange(PARTS) + 0.5) / PARTS
    u, v = (w.ravel() for w in np.meshgrid(t, t))
    weights = np.stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v], axis=1)
    mean[mixed] = np.maximum(weights @ corners[:, mixed], 0.0).mean(axis=0)
    return mean
