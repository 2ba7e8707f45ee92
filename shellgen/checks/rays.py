"""Rays against a triangle mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.pattern.pattern import IntArray

SKIP_MM = 1e-3  # rays start this far on, so that they do not meet the face they start from


@dataclass(frozen=True, slots=True, eq=False)
class Rays:
    """A mesh made ready to be shot at."""

    locator: Any

    @classmethod
    def of(cls, vertices_mm: FloatArray, faces: IntArray) -> Rays:
        """vertices_mm : (n, 3), faces : (m, 3)."""
        from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
        from vtkmodules.vtkCommonCore import vtkPoints
        from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData, vtkStaticCellLocator

        points, cells, mesh = vtkPoints(), vtkCellArray(), vtkPolyData()
        points.SetData(numpy_to_vtk(np.array(vertices_mm, float, order="C"), deep=1))
        cells.SetData(3, numpy_to_vtkIdTypeArray(np.array(faces, np.int64).ravel(), deep=1))
        mesh.SetPoints(points)
        mesh.SetPolys(cells)
        locator = vtkStaticCellLocator()
        locator.SetDataSet(mesh)
        locator.BuildLocator()
        return cls(locator)

    def shoot(self, starts: FloatArray, ways: FloatArray, reach_mm: float) -> tuple[FloatArray, IntArray]:
        """Length of each ray (k,) to the first face it meets and that face's index; infinite and −1 if there is none.

        starts, ways : (k, 3), ways of unit length.
        """
        from vtkmodules.vtkCommonCore import reference

        where, local = [0.0] * 3, [0.0] * 3
        t, sub, cell = (cast(Any, reference)(start) for start in (0.0, 0, 0))
        lengths, faces = np.full(len(starts), np.inf), np.full(len(starts), -1, np.int32)
        begins, ends = (starts + SKIP_MM * ways).tolist(), (starts + reach_mm * ways).tolist()
        for i, (begin, end) in enumerate(zip(begins, ends, strict=True)):
            if self.locator.IntersectWithLine(begin, end, 1e-9, t, where, local, sub, cell):
                lengths[i] = SKIP_MM + float(t.get()) * (reach_mm - SKIP_MM)
                faces[i] = int(cell.get())
        return lengths, faces

    def distance(self, points: FloatArray) -> FloatArray:
        """Distance of points (k, 3) to the nearest place of the mesh, exact; slow, for few of them."""
        from vtkmodules.vtkCommonCore import reference

        where = [0.0] * 3
        cell, sub, square = (cast(Any, reference)(start) for start in (0, 0, 0.0))
        found = np.empty(len(points))
        for i, point in enumerate(points.tolist()):
            self.locator.FindClosestPoint(point, where, cell, sub, square)
            found[i] = float(square.get()) ** 0.5
        return found
