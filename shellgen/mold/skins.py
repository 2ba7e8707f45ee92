"""The skins of a piece: jacket outside J, shell inside I, shell outside O, as envelopes in its pull frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shellgen.envelope.draft import draft
from shellgen.envelope.erode import erode
from shellgen.envelope.facets import CHORD_MM, Facets
from shellgen.envelope.raster import Envelope, FloatArray, Grid
from shellgen.envelope.splat import splat
from shellgen.envelope.widen import widened


@dataclass(frozen=True, slots=True)
class SkinSpec:
    """What the skins of one piece must keep. mm, degrees. low_mm : lowest height of the parting, at most 0."""

    thickness_mm: float
    clearance_mm: float
    wall_mm: float
    crevice_mm: float
    draft_deg: float
    pitch_mm: float
    tolerance_mm: float
    low_mm: float = 0.0

    @property
    def margin_mm(self) -> float:
        """Added to every radius, so that "at least" survives undrawn edges, triangulation and the raster's cells.

        A triangle may leave the nodes it spans by twice its tolerance; cells at a silhouette of radius r lack up to
        1.3 h^2 / r (both tried on balls and scans).
        """
        return CHORD_MM + 2.0 * self.tolerance_mm + 1.3 * self.pitch_mm**2 / self.thickness_mm

    @property
    def jacket_mm(self) -> float:
        """Radius of the jacket's outside."""
        return self.thickness_mm + self.margin_mm

    @property
    def inside_mm(self) -> float:
        """Radius of the shell's inside."""
        return self.jacket_mm + self.clearance_mm

    @property
    def outside_mm(self) -> float:
        """Radius of the shell's outside; the wall takes the margin once more."""
        return self.inside_mm + self.wall_mm + self.margin_mm

    @property
    def cot(self) -> float:
        """Rise of a drafted wall per mm of plan."""
        return float(1 / np.tan(np.radians(self.draft_deg)))

    @property
    def floor_mm(self) -> float:
        """Where skins end below the parting: deep enough to be exact 1 mm outside the trim line."""
        return self.low_mm - (self.crevice_mm + 3.0 + min(1.0 * self.cot, 120.0))


def joined(*meshes: Facets) -> Facets:
    """Several meshes as one."""
    shift = np.cumsum([0] + [len(m.points) for m in meshes[:-1]]).astype(np.int32)
    edge_mm, face_mm = np.concatenate([m.edge_mm for m in meshes]), np.concatenate([m.face_mm for m in meshes])
    by_edge, by_face = np.argsort(-edge_mm, kind="stable"), np.argsort(-face_mm, kind="stable")
    return Facets(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.normals for m in meshes]),
        np.concatenate([m.window for m in meshes]),
        np.concatenate([m.reach_mm for m in meshes]),
        np.concatenate([m.edges + n for m, n in zip(meshes, shift, strict=True)])[by_edge],
        edge_mm[by_edge],
        np.concatenate([m.faces + n for m, n in zip(meshes, shift, strict=True)])[by_face],
        face_mm[by_face],
        max(m.least_mm for m in meshes),
    )


def lone_points(points_mm: FloatArray) -> Facets:
    """Points (n, 3) without faces: each grows into a ball."""
    n = len(points_mm)
    points = np.ascontiguousarray(points_mm, float).reshape(n, 3)
    none, nothing = np.zeros((0, 2), np.int32), np.zeros(0)
    normals = np.tile([0.0, 0.0, 1.0], (n, 1))
    return Facets(
        points, normals, np.full(n, np.pi), np.zeros(n), none, nothing, np.zeros((0, 3), np.int32), nothing, 0.0
    )


def plan_grid(
    mesh: Facets, spec: SkinSpec, on_board: bool, pitch_mm: float | None = None, spare_mm: float = 0.0
) -> Grid:
    """Raster that holds all skins of a piece; on a board it starts a little below y = 0.

    spare_mm : by how much the rubber may yet be raised in places.
    """
    h = pitch_mm or spec.pitch_mm
    p = mesh.points
    far = spec.outside_mm + spec.crevice_mm + spare_mm
    rise = max(float(p[:, 2].max()), 0.0) + far - spec.floor_mm
    pad = far + rise / spec.cot + 3 * h
    low, high = p[:, :2].min(axis=0) - pad, p[:, :2].max(axis=0) + pad
    if on_board:
        low[1] = -(spec.crevice_mm + 12.0 + 3 * h)
    # whole steps about x = 0, so that the other half's raster is this one turned over; in pairs, so that every other
    # node of it falls on the same places however far it reaches
    left, bottom = (2 * int(np.floor(v / (2 * h))) for v in low)
    right, top = (2 * int(np.ceil(v / (2 * h))) for v in high)
    return Grid((left + 0.5) * h, (bottom + 0.29) * h, h, top - bottom + 1, right - left)


def reach(mesh: Facets, grid: Grid, radius_mm: float, spec: SkinSpec) -> FloatArray:
    """Heights (rows, columns) of a mesh grown by radius + crevice."""
    return splat(mesh, grid, radius_mm + spec.crevice_mm, spec.draft_deg, spec.floor_mm)


def closed(raw_mm: FloatArray, grid: Grid, radius_mm: float, spec: SkinSpec) -> Envelope:
    """A skin from what it reaches: drafted, taken back by the crevice radius, raised over its chords."""
    h, a, floor = grid.pitch_mm, spec.draft_deg, spec.floor_mm
    heights = erode(draft(raw_mm, h, a, floor), h, spec.crevice_mm, a, floor)
    return Envelope(grid, widened(heights), radius_mm, spec.crevice_mm, a, floor)


def envelope(mesh: Facets, grid: Grid, radius_mm: float, spec: SkinSpec) -> Envelope:
    """One skin of a mesh."""
    return closed(reach(mesh, grid, radius_mm, spec), grid, radius_mm, spec)


@dataclass(frozen=True, slots=True, eq=False)
class Skins:
    """The three skins of one piece; with no clearance the shell's inside is the jacket's outside, the same object."""

    jacket: Envelope
    inside: Envelope
    outside: Envelope


def skins(mesh: Facets, raw_mm: FloatArray, grid: Grid, spec: SkinSpec) -> Skins:
    """All skins of one piece from the pattern (with lip and jacket keys) in its pull frame.

    raw_mm : what the jacket reaches, on `grid`.
    """
    jacket = closed(raw_mm, grid, spec.jacket_mm, spec)
    inside = jacket if spec.clearance_mm == 0 else envelope(mesh, grid, spec.inside_mm, spec)
    outside = envelope(mesh, grid, spec.outside_mm, spec)
    # nesting is exact for the operators; this holds it against the last digits of the raster
    outside = replace(outside, heights_mm=np.maximum(outside.heights_mm, inside.heights_mm))
    return Skins(jacket, inside, outside)
