"""Writes STEP (AP242, mm): shell pieces and lid as true solids in the mold frame, and one assembly with all in place.

The text depends on the design alone: the header's time is fixed, names are the parts' own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.export.step_text import shortened, uses_numbered
from shellgen.mold.mold import Mold
from shellgen.progress import Progress
from shellgen.solid.brep.faceted import faceted_brep
from shellgen.solid.brep.fitted_piece import fitted_piece
from shellgen.solid.brep.occ import SPLINE_MM, TIGHT_MM, explored, in_frame
from shellgen.solid.brep.piece import PieceFit, piece_brep
from shellgen.solid.brep.plate import plate_brep
from shellgen.solid.brep.trace import TRACE_MM
from shellgen.solid.recipe import PlateRecipe

TIME_STAMP = "2000-01-01T00:00:00"
ASSEMBLY = "assembly.step"
POLE_DIGITS, CURVE_DIGITS = 3, 5
STRAIGHT = 1e-12
OWN_PRECISION = 2  # OCC's number for a precision that is told, not reckoned from the mean of all edges


@dataclass(frozen=True, slots=True)
class StepFiles:
    """What was written, paths relative to the folder.

    paths : part name -> file; assembly : the file with all of them in place, None if there are none;
    refused : part name -> why it could not be made with true faces; facets : those of them that were written all the
    same, part name -> number of flat triangles; fits : piece name -> how well its skins were fitted.
    """

    paths: Mapping[str, str]
    assembly: str | None
    refused: Mapping[str, str]
    fits: Mapping[str, PieceFit]
    facets: Mapping[str, int] = field(default_factory=dict)


def write_steps(mold: Mold, folder: Path, progress: Progress) -> StepFiles:
    """Write one file for each shell piece and flat part and one assembly file into an existing folder.

    A part that cannot be made as a valid solid of true faces is left out, or written in facets where the job asks for
    it, and said so. Raises OSError if a file cannot be written.
    """
    design = mold.design
    tolerance = design.settings.outputs.step_tolerance_mm
    solids: dict[str, Any] = {}
    fits: dict[str, PieceFit] = {}
    refused: dict[str, str] = {}
    with ThreadPoolExecutor(1) as pool:  # each fit is made while what comes before it is built
        mesh_mm = design.settings.outputs.mesh_tolerance_mm
        fitted = [pool.submit(fitted_piece, piece, tolerance, mesh_mm) for piece in design.pieces]
        plates = _plates(design.plates, refused)
        for piece, fit in zip(design.pieces, fitted, strict=True):
            with progress.step(f"STEP of piece {piece.name}"):
                try:
                    solid, fits[piece.name] = piece_brep(piece, tolerance, fit.result())
                    solids[piece.name] = in_frame(solid, piece.pull_to_mold)
                except KernelError as error:
                    refused[piece.name] = str(error)
    solids.update(plates)
    for name, why in refused.items():
        progress.note(f"no STEP of part {name}: {why}")
    facets = _faceted(mold, refused, solids) if design.settings.outputs.step_faceted_fallback else {}
    for name, count in facets.items():
        progress.note(f"STEP of {name} is written in {count} flat facets")
    turned = {p.name: p.pull_to_mold for p in design.pieces} | {p.name: p.plate_to_mold for p in design.plates}
    for name, solid in solids.items():
        round_poles(solid, oblique=not _right_angled(turned[name]))
    job = design.settings.name
    paths = {}
    with progress.step("Writing STEP"):
        for name, solid in solids.items():
            paths[name] = f"{_file_stem(name)}.step"
            write_step(folder / paths[name], {f"{job} {name}": solid}, title=f"{job} {name}")
        if solids:
            write_step(folder / ASSEMBLY, {f"{job} {n}": s for n, s in solids.items()}, title=job, assembly=True)
    return StepFiles(paths, ASSEMBLY if solids else None, refused, fits, facets)


def _faceted(mold: Mold, refused: Mapping[str, str], solids: dict[str, Any]) -> dict[str, int]:
    """Add refused parts to the solids, in facets as near to their meshes as STEP may be; how many each has."""
    out = {}
    tolerance = mold.design.settings.outputs.step_tolerance_mm
    for part in mold.parts:
        if part.name in refused:
            solids[part.name], out[part.name] = faceted_brep(part, tolerance)
    return out


def _plates(plates: Sequence[PlateRecipe], refused: dict[str, str]) -> dict[str, Any]:
    """The flat parts as solids in the mold frame; those that cannot be made are added to the refused."""
    out: dict[str, Any] = {}
    for plate in plates:
        try:
            out[plate.name] = in_frame(plate_brep(plate), plate.plate_to_mold)
        except KernelError as error:
            refused[plate.name] = str(error)
    return out


def _file_stem(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.") or "part"


def _right_angled(frame: FloatArray) -> bool:
    """Whether a frame's axes are another's."""
    return bool(np.all((np.abs(frame[:3, :3]) < STRAIGHT) | (np.abs(frame[:3, :3]) > 1 - STRAIGHT)))


def round_poles(solid: Any, *, oblique: bool) -> None:
    """Round the poles of spline surfaces and of curves on them in place, within the tolerance of edges: short text.

    oblique : whether its frame was turned by other than right angles; surfaces keep their short numbers otherwise.
    """
    from OCP.BRep import BRep_Tool
    from OCP.Geom import Geom_BSplineCurve, Geom_BSplineSurface
    from OCP.gp import gp_Pnt

    for item in explored(solid, "face") if oblique else ():
        surface = BRep_Tool.Surface_s(item)
        if isinstance(surface, Geom_BSplineSurface):
            for i in range(1, surface.NbUPoles() + 1):
                for j in range(1, surface.NbVPoles() + 1):
                    p = surface.Pole(i, j)
                    at = (round(p.X(), POLE_DIGITS), round(p.Y(), POLE_DIGITS), round(p.Z(), POLE_DIGITS))
                    surface.SetPole(i, j, gp_Pnt(*at))
    for item in explored(solid, "edge"):
        curve = BRep_Tool.Curve_s(item, 0.0, 0.0)
        if BRep_Tool.Tolerance_s(item) >= SPLINE_MM and isinstance(curve, Geom_BSplineCurve):
            for i in range(1, curve.NbPoles() + 1):
                p = curve.Pole(i)
                curve.SetPole(i, gp_Pnt(*(round(c, CURVE_DIGITS) for c in (p.X(), p.Y(), p.Z()))))


def write_step(path: Path, solids: Mapping[str, Any], *, title: str, assembly: bool = False) -> None:
    """Write named solids into one file, as parts of one assembly if asked. Raises OSError if it cannot be written."""
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.Message import Message, Message_Gravity
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.TCollection import TCollection_HAsciiString

    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Alarm)
    writer = STEPCAFControl_Writer()
    Interface_Static.SetCVal_s("write.step.schema", "AP242DIS")
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 1)
    Interface_Static.SetIVal_s("write.precision.mode", OWN_PRECISION)
    Interface_Static.SetRVal_s("write.precision.val", accuracy_mm(solids.values()))
    document = _document(solids, title if assembly else None)
    writer.Transfer(document)
    header = APIHeaderSection_MakeHeader(writer.ChangeWriter().Model())
    header.SetName(TCollection_HAsciiString(title))
    header.SetTimeStamp(TCollection_HAsciiString(TIME_STAMP))
    header.SetOriginatingSystem(TCollection_HAsciiString("shellgen"))
    header.SetAuthorValue(1, TCollection_HAsciiString(""))
    header.SetOrganizationValue(1, TCollection_HAsciiString(""))
    if writer.Write(str(path)) != IFSelect_RetDone:
        raise OSError(f"{path} cannot be written")
    path.write_bytes(uses_numbered(shortened(path.read_bytes())))


def accuracy_mm(solids: Iterable[Any]) -> float:
    """How near curves and surfaces of solids are to each other, which a file states as its uncertainty.

    Readers throw away a curve in a surface's parameters that is farther off and project it anew, which takes longer
    than all else that they do.
    """
    from OCP.BRep import BRep_Tool

    loose = any(BRep_Tool.Tolerance_s(e) >= SPLINE_MM for s in solids for e in explored(s, "edge"))
    return TRACE_MM if loose else TIGHT_MM


def _document(solids: Mapping[str, Any], assembly: str | None) -> Any:
    """Named solids as an XCAF document."""
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("MDTV-XCAF"))
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    root = None if assembly is None else tool.NewShape()
    if root is not None:
        TDataStd_Name.Set_s(root, TCollection_ExtendedString(str(assembly)))
    for name, solid in solids.items():
        label = tool.AddShape(solid, False)
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(name))
        if root is not None:
            use = tool.AddComponent(root, label, TopLoc_Location())
            TDataStd_Name.Set_s(use, TCollection_ExtendedString(name))
    tool.UpdateAssemblies()
    return document
