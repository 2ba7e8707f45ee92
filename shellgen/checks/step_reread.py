"""A STEP file read back: its solids, counts, tolerances and skins, in the frame that is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.envelope.spline_fit_graph import SplineGraph, greville
from shellgen.errors import KernelError
from shellgen.solid.recipe import inverse

SAME_MM = 2e-3  # files round poles to thousandths


def read_solids(path: Path) -> list[Any]:
    """All solids of a STEP file. Raises KernelError if OCC cannot read it."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Message import Message, Message_Gravity
    from OCP.STEPControl import STEPControl_Reader

    from shellgen.solid.brep.occ import explored

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Alarm)
    reader = STEPControl_Reader()
    if reader.ReadFile(str(path)) != IFSelect_RetDone:
        raise KernelError(f"{path.name} cannot be read back")
    reader.TransferRoots()
    return explored(reader.OneShape(), "solid")


def moved_back(solid: Any, frame: FloatArray) -> Any:
    """A solid of the mold frame in the frame that the 4x4 leads from."""
    from shellgen.solid.brep.occ import in_frame

    return in_frame(solid, inverse(frame))


@dataclass(frozen=True, slots=True)
class Counts:
    """Faces of a solid, whether each edge joins two faces or is a seam, its genus, its loosest edge [mm]."""

    faces: int
    closed: bool
    genus: int
    loosest_mm: float


def counts(solid: Any) -> Counts:
    """Counted from the topology alone: V - E + F - (inner loops) = 2 - 2 genus."""
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

    from shellgen.solid.brep.occ import explored

    uses = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(solid, TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE, uses)
    edges = explored(solid, "edge")
    real = [e for e in edges if not BRep_Tool.Degenerated_s(e)]
    closed = all(uses.FindFromKey(e).Extent() == 2 for e in real)
    faces = explored(solid, "face")
    loops = sum(len(explored(f, "wire")) for f in faces)
    characteristic = len(explored(solid, "vertex")) - len(real) + len(faces) - (loops - len(faces))
    return Counts(len(faces), closed, (2 - characteristic) // 2, max(BRep_Tool.Tolerance_s(e) for e in real))


GraphOf = Callable[[Any], SplineGraph | None]
"""The graph that a face lies on, None for other surfaces."""


def graphs_of(solid: Any) -> GraphOf:
    """`graph_on` for the faces of a solid, each looked at once."""
    from OCP.TopTools import TopTools_IndexedMapOfShape

    from shellgen.solid.brep.occ import explored

    numbers = TopTools_IndexedMapOfShape()
    known = {numbers.Add(item): graph_on(item) for item in explored(solid, "face")}
    return lambda item: known[numbers.FindIndex(item)]


def graph_on(item: Any) -> SplineGraph | None:
    """The graph z(x, y) that a face lies on, if its surface is a bicubic one whose parameters are x and y."""
    from OCP.BRep import BRep_Tool
    from OCP.Geom import Geom_BSplineSurface

    surface = BRep_Tool.Surface_s(item)
    if not isinstance(surface, Geom_BSplineSurface) or surface.UDegree() != 3 or surface.VDegree() != 3:
        return None
    nx, ny = surface.NbUPoles(), surface.NbVPoles()
    knots_x = np.repeat(
        [surface.UKnot(i) for i in range(1, surface.NbUKnots() + 1)],
        [surface.UMultiplicity(i) for i in range(1, surface.NbUKnots() + 1)],
    )
    knots_y = np.repeat(
        [surface.VKnot(i) for i in range(1, surface.NbVKnots() + 1)],
        [surface.VMultiplicity(i) for i in range(1, surface.NbVKnots() + 1)],
    )
    table = surface.Poles()
    poles = np.array(
        [[(p.X(), p.Y(), p.Z()) for p in (table.Value(i, j) for j in range(1, ny + 1))] for i in range(1, nx + 1)]
    )
    off = max(
        float(np.abs(poles[:, :, 0] - greville(knots_x)[:, None]).max()),
        float(np.abs(poles[:, :, 1] - greville(knots_y)[None, :]).max()),
    )
    return SplineGraph(knots_x, knots_y, poles[:, :, 2].copy()) if off < SAME_MM else None
