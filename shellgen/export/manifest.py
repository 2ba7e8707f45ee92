"""The manifest: what a build holds, for people and for programs.

Schema (lengths mm, mold frame: +z up, the board at z = 0; every number rounded, every list in a fixed order):

- `job`: `name`; `mesh` {`file`, `sha256`}; `settings`, nested by the job file's own keys, all filled in
- `versions`: shellgen and the libraries that decide how the solids come out
- `parts`: [`name`, `kind` ("shell", "jacket", "lid", "spacer"), `files` {"stl", "3mf", ...: path relative to the
  folder}, `volume_cm3` and `bbox_mm` [[min], [max]] of what the STL holds, `mass_g`, `pull` (unit vector along which a
  rigid part leaves, null for rubber)]
- `assembly`: names of all rigid parts in the order they go together
- `bolts`: [`pair` (two part names, or a part and "board"), `size` ("M6", "1/4 in"), `seats_mm` (two points, the first
  on the first of the pair), `ends` (each "washer", "pocket", "insert" or "board"), `setup` ("closing", "board", "lid")]
- `keys`: [`pair` (the first has the male), `kind`, `at_mm`]
- `pour`, of a poured jacket alone: `up` (the way that is up while pouring), `holes` [`piece`, `use`, `at_mm`,
  `bore_mm`, `air_cm3` that would stay without it; the pour first, it holds all], `spacers` [`name` of the part,
  `piece` it lies under, `at_mm` on the pattern, `thickness_mm` along the pull]
- `quantities`: figures by name, the unit at the end of the name: `fill_cm3` (rubber beyond the plain thickness, keys
  not counted), `stepped_fill_cm3` (the same along the silhouette; `fill_cm3` is then the plane's), `keys_cm3` (rubber
  of the jacket keys), `vents`, `trapped_air_cm3` (no hole reaches it), `air_without_vent_<n>_cm3` (`pour.holes` from
  the second on), `spacers`, volumes and masses
- `checks`: [`id`, `title`, `status` ("pass", "warn", "fail"), `value`, `limit`, `unit`, `says`]
- `pattern_to_mold`: 4x4, from the mesh file's coordinates (before units) to the mold frame
- `design_sha256`: hash of job, pattern bytes, recipe and versions

No times: the same job gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np

from shellgen.checks.finding import Finding
from shellgen.envelope.raster import FloatArray
from shellgen.export.fingerprint import design_sha256
from shellgen.mold.mold import Mold, Part, Pour
from shellgen.standards.materials import material

RUBBER = "silicone"
DECIDING = ("shellgen", "manifold3d", "numpy", "scipy", "shapely", "numba")


@dataclass(frozen=True, slots=True)
class PartFiles:
    """What was written of a part. files : kind of file -> path relative to the build's folder.

    volume_mm3 : of the solid that the STL holds. bounds_mm : ((x, y, z), (x, y, z)), of the same.
    """

    files: Mapping[str, str]
    volume_mm3: float
    bounds_mm: tuple[tuple[float, ...], tuple[float, ...]]


def mesh_volume_mm3(vertices_mm: FloatArray, faces: Any) -> float:
    """Volume inside a closed mesh (divergence theorem, about the middle of its vertices to keep digits)."""
    a, b, c = ((vertices_mm - vertices_mm.mean(0))[faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def build_manifest(mold: Mold, findings: Sequence[Finding], written: Mapping[str, PartFiles]) -> dict[str, Any]:
    """The manifest of a finished mold as plain data. written : by part name, as the files hold it.

    Raises KernelError (through the fingerprint) if the design holds something that has no stable bytes.
    """
    design = mold.design
    versions = found_versions()
    settings = design.settings
    masses = {p.name: _mass_g(p, settings.shell.material, written[p.name].volume_mm3) for p in mold.parts}
    return {
        "job": {
            "name": settings.name,
            "mesh": {"file": settings.pattern.file or design.pattern.source, "sha256": design.pattern.sha256},
            "settings": settings.model_dump(mode="json"),
        },
        "versions": versions,
        "parts": [
            {
                "name": part.name,
                "kind": part.kind,
                "files": dict(sorted(written[part.name].files.items())),
                "volume_cm3": _rounded(written[part.name].volume_mm3 / 1000.0, 4),
                "mass_g": _rounded(masses[part.name], 2),
                "bbox_mm": _rounded(written[part.name].bounds_mm, 4),
                "pull": None if part.pull is None else _rounded(part.pull, 9),
            }
            for part in mold.parts
        ],
        "assembly": list(design.assembly),
        "bolts": [
            {
                "pair": list(bolt.pair),
                "size": bolt.size,
                "seats_mm": _rounded(bolt.seats_mm, 4),
                "ends": list(bolt.ends),
                "setup": bolt.setup,
            }
            for bolt in design.bolts
        ],
        "keys": [{"pair": list(k.pair), "kind": k.kind, "at_mm": _rounded(k.at_mm, 4)} for k in design.keys],
        **({} if design.pour is None else {"pour": _pour(design.pour)}),
        "quantities": _quantities(mold, written, masses),
        "checks": [_check(finding) for finding in findings],
        "pattern_to_mold": [[float(f"{x + 0.0:.12g}") for x in row] for row in design.pattern.file_to_mold.tolist()],
        "design_sha256": design_sha256(design, versions),
    }


def manifest_text(manifest: Mapping[str, Any]) -> str:
    """The manifest as JSON text, keys in the schema's order."""
    return json.dumps(manifest, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def found_versions() -> dict[str, str]:
    """Versions of what decides how the solids come out; "unknown" for what is not installed as a package."""
    found = {}
    for name in DECIDING:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "unknown"
    return found


def _mass_g(part: Part, shell_material: str, volume_mm3: float) -> float:
    """Mass by the density of the part's material."""
    density = material(RUBBER if part.kind == "jacket" else shell_material).density_g_cm3
    return density * volume_mm3 / 1000.0


def _pour(pour: Pour) -> dict[str, Any]:
    """How a poured jacket is filled: with the mold standing as built."""
    return {
        "up": [0.0, 0.0, 1.0],
        "holes": [
            {
                "piece": hole.piece,
                "use": hole.use,
                "at_mm": _rounded(hole.at_mm, 4),
                "bore_mm": _rounded(hole.bore_mm, 4),
                "air_cm3": _rounded(hole.air_mm3 / 1000.0, 4),
            }
            for hole in pour.holes
        ],
        "spacers": [
            {
                "name": spacer.name,
                "piece": spacer.piece,
                "at_mm": _rounded(spacer.at_mm, 4),
                "thickness_mm": _rounded(spacer.thickness_mm, 4),
            }
            for spacer in pour.spacers
        ],
    }


def _quantities(mold: Mold, written: Mapping[str, PartFiles], masses: Mapping[str, float]) -> dict[str, float]:
    """The design's own figures, and the sums over the parts."""
    rubber = [p.name for p in mold.parts if p.kind == "jacket"]
    rigid = [p.name for p in mold.parts if p.kind != "jacket"]
    sums = {
        "pattern_volume_cm3": mold.design.pattern.skin.volume_mm3 / 1000.0,
        "rubber_volume_cm3": sum(written[n].volume_mm3 for n in rubber) / 1000.0,
        "rubber_mass_g": sum(masses[n] for n in rubber),
        "rigid_volume_cm3": sum(written[n].volume_mm3 for n in rigid) / 1000.0,
        "rigid_mass_g": sum(masses[n] for n in rigid),
        "bolts": float(len(mold.design.bolts)),
    }
    return {name: _rounded(value, 4) for name, value in sorted({**mold.quantities, **sums}.items())}


def _check(finding: Finding) -> dict[str, Any]:
    """A finding as plain data."""
    entry = asdict(finding)
    entry["value"], entry["limit"] = _rounded(finding.value, 4), _rounded(finding.limit, 4)
    return entry


def _rounded(value: Any, digits: int) -> Any:
    """Numbers, or nested tuples of them, rounded; minus zero becomes zero, and what has no value null."""
    if value is None or (isinstance(value, float) and not np.isfinite(value)):
        return None
    if isinstance(value, (tuple, list)):
        return [_rounded(entry, digits) for entry in value]
    return round(float(value), digits) + 0.0
