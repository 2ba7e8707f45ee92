"""The finished pattern, ready for offsetting: what intake hands on. Lengths mm, mold frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPolygon

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """The pattern as a closed solid, outward normals: for the jacket's cavity and for volumes.

    vertices_mm : (n, 3), faces : (m, 3). method : "as it is" (bodies united), "holes capped", or "outer skin".
    error_mm : how far the skin may lie from the mesh it stands for (0 where its own triangles are kept).
    """

    vertices_mm: FloatArray
    faces: IntArray
    volume_mm3: float
    method: Literal["as it is", "holes capped", "outer skin"]
    error_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """The pattern in the mold frame (+z up, the board at z = 0).

    vertices_mm : (n, 3), faces : (m, 3): every triangle that the rubber must cover, watertight or not, with the stem,
    nothing below the board. skin : the same as a closed solid. footprint : what stands on the board (mold x, y), the
    opening of jacket and shell; empty for a closed pattern. file_to_mold : 4x4, from the mesh file's numbers.
    sha256 : of the mesh file's bytes (of the vertices for a pattern made here). notes : what was mended or assumed.
    """

    vertices_mm: FloatArray
    faces: IntArray
    skin: Skin
    mount: Literal["board", "stem", "none"]
    footprint: MultiPolygon
    file_to_mold: FloatArray
    source: str
    sha256: str
    notes: tuple[str, ...]

    @property
    def bounds_mm(self) -> FloatArray:
        """(2, 3): least and greatest corner."""
        return np.array([self.vertices_mm.min(0), self.vertices_mm.max(0)])
