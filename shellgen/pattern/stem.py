"""The stem a closed pattern stands on: where, how thick, how far up into the pattern."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from numba import njit
from shapely.geometry import MultiPolygon, Point, Polygon

from shellgen.errors import PatternError
from shellgen.job.model import MountSettings
from shellgen.pattern.bodies import Solid, solid_from, tidied
from shellgen.pattern.footprint import section
from shellgen.pattern.pattern import FloatArray, IntArray

DIAMETER_MM, DIAMETER_SHARE = (16.0, 60.0), 0.18
LENGTH_MM, LENGTH_SHARE = (25.0, 60.0), 0.1
FULL, ENOUGH, SOME = 0.995, 0.8, 0.05  # share of the stem's disc inside the pattern
HIGHEST_SHARE = 0.3  # of the pattern's height: no stem runs further up
NODES = 120


@dataclass(frozen=True, slots=True)
class Stem:
    """A cylinder from the board (z = 0) up into the pattern. cover : share of its top disc inside the pattern."""

    x_mm: float
    y_mm: float
    radius_mm: float
    top_mm: float
    cover: float

    def says(self) -> str:
        """One line on where it stands."""
        held = "" if self.cover >= FULL else f", {100 * self.cover:.0f} % of its section inside the pattern"
        return (
            f"Stem: {2 * self.radius_mm:.1f} mm at ({self.x_mm:.1f}, {self.y_mm:.1f}), "
            f"{self.top_mm:.1f} mm up from the board{held}."
        )

    @property
    def sides(self) -> int:
        """Number of sides: 48 or more, facets within 0.01 mm of the circle where 192 are enough."""
        exact = math.pi / math.acos(1 - min(0.01 / self.radius_mm, 0.5))
        return int(np.clip(4 * math.ceil(exact / 4), 48, 192))

    def triangles(self) -> tuple[FloatArray, IntArray]:
        """Closed triangles with outward normals: vertices (n, 3), faces (m, 3)."""
        n = self.sides
        turn = 2 * np.pi * np.arange(n) / n
        ring = np.column_stack([self.x_mm + self.radius_mm * np.cos(turn), self.y_mm + self.radius_mm * np.sin(turn)])
        low, high = np.column_stack([ring, np.zeros(n)]), np.column_stack([ring, np.full(n, self.top_mm)])
        ends = [[self.x_mm, self.y_mm, 0.0], [self.x_mm, self.y_mm, self.top_mm]]
        i, j = np.arange(n), (np.arange(n) + 1) % n
        faces = np.vstack([
            np.column_stack([i, j, n + j]),
            np.column_stack([i, n + j, n + i]),
            np.column_stack([j, i, np.full(n, 2 * n)]),
            np.column_stack([n + i, n + j, np.full(n, 2 * n + 1)]),
        ])  # fmt: skip
        return np.vstack([low, high, ends]), faces.astype(np.int32)

    def disc(self) -> MultiPolygon:
        """The stem's section, a polygon of its sides."""
        return MultiPolygon([Polygon(self.triangles()[0][: self.sides, :2])])

    def solid(self) -> Solid:
        """The cylinder as a solid."""
        return solid_from(*self.triangles())

    def joined(self, solid: Solid, source: str) -> Solid:
        """The pattern's solid on its stem. Raises PatternError if the two stay apart."""
        stem = self.solid()
        both, _ = tidied(solid + stem)
        shared = solid.volume() + stem.volume() - both.volume()
        if shared < 1e-3 * stem.volume():
            place = f"({self.x_mm:.1f}, {self.y_mm:.1f})"
            raise PatternError(f"{source}: the stem at {place} does not hold the pattern. Change mount.stem_at_mm.")
        return both


def stem_length_mm(settings: MountSettings, height_mm: float) -> float:
    """Board to the pattern's lowest point: as given, or a tenth of the pattern's height, 25 to 60 mm."""
    return settings.stem_length_mm or float(np.clip(LENGTH_SHARE * height_mm, *LENGTH_MM))


def place_stem(settings: MountSettings, solid: Solid, vertices: FloatArray, faces: IntArray, source: str) -> Stem:
    """Choose the stem for a pattern whose lowest point stands at the stem's length above the board.

    The default diameter is 0.18 of the longer horizontal side, 16 to 60 mm, less where the underside is narrow; the
    default place is where its disc enters the pattern low and near to its middle.
    Raises PatternError if less than a twentieth of its section can be brought into the pattern.
    """
    low, high = vertices.min(0), vertices.max(0)
    height = float(high[2] - low[2])
    wanted = settings.stem_diameter_mm
    widest = (wanted or float(np.clip(DIAMETER_SHARE * max(high[:2] - low[:2]), *DIAMETER_MM))) / 2
    under = Underside.of(vertices, faces)
    shrink = (1.0,) if wanted else (1.0, 0.85, 0.7, 0.6, 0.5, 0.4, 0.3)
    radii = [r for r in (widest * s for s in shrink) if r >= 4.0 or r == widest]
    best: tuple[float, Stem] | None = None
    for share in (0.5, 1.0):
        for radius in radii:
            limit = float(low[2]) + share * HIGHEST_SHARE * height
            x, y, enters = under.entry(radius, settings.stem_at_mm, limit)
            if enters > limit:
                continue
            stem = _run_up(solid, x, y, radius, enters, float(low[2]), height)
            if stem.cover >= FULL:
                return stem
            if best is None or stem.cover > best[0]:
                best = stem.cover, stem
    if best is None or best[0] < ENOUGH:
        stem = _broadest(solid, radii[-1], settings.stem_at_mm, float(low[2]), height)
        best = (stem.cover, stem) if best is None or stem.cover > best[0] else best
    if best[0] < SOME:
        raise PatternError(_no_meeting(settings, best[1], source))
    return best[1]


def _no_meeting(settings: MountSettings, stem: Stem, source: str) -> str:
    given = "mount.stem_at_mm" if settings.stem_at_mm else "mount.stem_at_mm, a smaller mount.stem_diameter_mm"
    return (
        f"{source}: a stem of {2 * stem.radius_mm:.1f} mm at ({stem.x_mm:.1f}, {stem.y_mm:.1f}) meets only "
        f"{100 * stem.cover:.0f} % of its section in the pattern. Change {given} or turn the pattern."
    )


def _run_up(solid: Solid, x: float, y: float, radius: float, enters: float, low: float, height: float) -> Stem:
    """Run the stem up from where its disc is first covered until the pattern's section holds it, or holds most."""
    disc = Point(x, y).buffer(radius, quad_segs=16)
    bite = float(np.clip(0.02 * height, 0.3, 3.0))
    found: list[tuple[float, float]] = []
    levels = [enters + bite, enters + bite / 3, *(low + height * HIGHEST_SHARE * np.linspace(0.02, 1.0, 30))]
    for z in levels:
        cover = section(solid, z).intersection(disc).area / disc.area
        if cover >= FULL:
            return Stem(x, y, radius, z, cover)
        found.append((cover, z))
    enough = [(z, cover) for cover, z in found if cover >= ENOUGH]
    if enough:
        z, cover = min(enough)
        return Stem(x, y, radius, z, cover)
    cover, z = max(found, key=lambda f: (round(f[0], 6), -f[1]))
    return Stem(x, y, radius, z, cover)


def _broadest(solid: Solid, radius: float, place: tuple[float, float] | None, low: float, height: float) -> Stem:
    """Where nothing covers the whole disc from below: the section, up to the highest allowed, that holds most of it.

    A place at the far end of the longer side counts 0.4 of a section less than the middle.
    """
    x0, y0, _, x1, y1, _ = solid.bounding_box()
    reach = max(x1 - x0, y1 - y0) / 2
    best, most = Stem(0.0, 0.0, radius, low, 0.0), -np.inf
    for z in low + height * np.array([0.02, 0.04, 0.07, 0.1, 0.15, 0.2, 0.25, HIGHEST_SHARE]):
        figure = section(solid, float(z))
        parts = sorted(figure.geoms, key=lambda part: -part.area)[:8]
        middles = [place] if place else [_deepest(part) for part in parts]
        for x, y in middles:
            disc = Point(x, y).buffer(radius, quad_segs=16)
            cover = figure.intersection(disc).area / disc.area
            rank = round(min(cover, FULL) - 0.4 * math.hypot(x, y) / reach - 0.1 * (float(z) - low) / height, 6)
            if cover > 0 and rank > most:
                best, most = Stem(x, y, radius, float(z), cover), rank
    return best


def _deepest(figure: Polygon) -> tuple[float, float]:
    """The middle of the largest circle in a plane figure."""
    arm = shapely.maximum_inscribed_circle(figure)
    return float(arm.coords[0][0]), float(arm.coords[0][1])


@njit(cache=True, nogil=True)
def _lowest_heights(vertices, faces, x0, y0, pitch, out):  # type: ignore[no-untyped-def]
    """Lower each node of `out` to the triangles that lie over it."""
    rows, columns = out.shape
    for f in range(len(faces)):
        ax, ay, az = vertices[faces[f, 0]]
        bx, by, bz = vertices[faces[f, 1]]
        cx, cy, cz = vertices[faces[f, 2]]
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if area == 0.0:
            continue
        j0, j1 = int(np.ceil((min(ax, bx, cx) - x0) / pitch)), int(np.floor((max(ax, bx, cx) - x0) / pitch))
        i0, i1 = int(np.ceil((min(ay, by, cy) - y0) / pitch)), int(np.floor((max(ay, by, cy) - y0) / pitch))
        for i in range(max(i0, 0), min(i1, rows - 1) + 1):
            y = y0 + i * pitch
            for j in range(max(j0, 0), min(j1, columns - 1) + 1):
                x = x0 + j * pitch
                u = ((bx - x) * (cy - y) - (cx - x) * (by - y)) / area
                v = ((cx - x) * (ay - y) - (ax - x) * (cy - y)) / area
                if u >= -1e-9 and v >= -1e-9 and u + v <= 1 + 1e-9:
                    z = u * az + v * bz + (1 - u - v) * cz
                    if z < out[i, j]:
                        out[i, j] = z


@dataclass(frozen=True, slots=True, eq=False)
class Underside:
    """Heights of the pattern's underside over a square raster; infinite where there is nothing above."""

    x0: float
    y0: float
    pitch: float
    heights: npt.NDArray[np.float64]

    @classmethod
    def of(cls, vertices: FloatArray, faces: IntArray, nodes: int = NODES) -> Underside:
        """Lay a raster with `nodes` steps along the longer side under the mesh."""
        low, high = vertices.min(0), vertices.max(0)
        pitch = float(max(high[:2] - low[:2])) / nodes
        columns, rows = (np.floor((high[:2] - low[:2]) / pitch).astype(int) + 2).tolist()
        heights = np.full((rows, columns), np.inf)
        x0, y0 = float(low[0] - pitch / 3), float(low[1] - pitch / 3)  # off the mesh's own symmetry lines
        _lowest_heights(vertices, faces, x0, y0, pitch, heights)
        return cls(x0, y0, pitch, heights)

    def entry(self, radius: float, place: tuple[float, float] | None, limit: float) -> tuple[float, float, float]:
        """(x, y, height at which a rising disc is wholly inside): at the given place, or low and near the middle.

        Entering at `limit` weighs as much as standing half the longer side off the middle; infinite if there is no
        place under `limit`.
        """
        from scipy.ndimage import grey_dilation

        reach = int(np.ceil(radius / self.pitch))
        across = np.arange(-reach, reach + 1) * self.pitch
        disc = np.hypot(across[:, None], across[None, :]) <= radius
        padded = np.pad(self.heights, reach, constant_values=np.inf)
        if place is not None:
            rows, columns = self.heights.shape
            x, y = self.x0 + self.pitch * np.arange(columns), self.y0 + self.pitch * np.arange(rows)
            over = x[0] <= place[0] - radius and place[0] + radius <= x[-1]
            over = over and y[0] <= place[1] - radius and place[1] + radius <= y[-1]
            near = np.hypot(x[None, :] - place[0], y[:, None] - place[1]) <= radius
            return place[0], place[1], float(self.heights[near].max()) if over and near.any() else np.inf
        enters = grey_dilation(padded, footprint=disc)[reach:-reach, reach:-reach]
        within = enters <= limit
        if not within.any():
            return 0.0, 0.0, np.inf
        i, j = np.nonzero(within)
        x, y = self.x0 + j * self.pitch, self.y0 + i * self.pitch
        low = float(self.heights[np.isfinite(self.heights)].min())
        reach = 0.5 * self.pitch * max(self.heights.shape)
        cost = (enters[within] - low) / max(limit - low, 1e-9) + np.hypot(x, y) / reach
        k = int(np.argmin(np.round(cost, 6)))
        if np.hypot(x[k], y[k]) <= self.pitch:  # the very middle, where it serves as well
            return 0.0, 0.0, float(enters[i[k], j[k]])
        return float(x[k]), float(y[k]), float(enters[i[k], j[k]])
