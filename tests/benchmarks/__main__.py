"""Times the main job step by step, and one envelope against a peer's offset of the same mesh in the same run.

    python -m tests.benchmarks                     a lumpy synthetic scan of 820 k triangles, 600 mm
    python -m tests.benchmarks SCAN.ply --size 600 --pitch 1

The peer is pymeshlab's uniform resampling with offset (a general-purpose voxel offset) at twice the pitch. Nothing is
asserted: machines differ, ratios of one run less so.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import numpy as np


def scan(path: Path) -> None:
    """Write a lumpy closed body of about 820 k triangles."""
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=8 if path.stem.endswith("large") else 7, radius=1.0)
    if not path.stem.endswith("small"):
        ball = ball.subdivide() if len(ball.faces) < 400_000 else ball
    p = ball.vertices
    rng = np.random.default_rng(4)
    bumps = sum(np.sin(p @ rng.normal(size=3) * k + k) / k for k in (2, 3, 5, 9, 14, 30))
    trimesh.Trimesh(p * (1 + 0.12 * bumps[:, None]) * [1.0, 0.7, 0.45], ball.faces, process=False).export(path)


def timed(call):  # type: ignore[no-untyped-def]
    """Seconds and result of the second of two calls: compiled, caches warm."""
    call()
    start = time.perf_counter()
    result = call()
    return time.perf_counter() - start, result


def envelope_against_peer(path: Path, size_mm: float, pitch_mm: float) -> list[tuple[str, float, str]]:
    """One envelope at a pitch, and the peer's offset of the same mesh at twice that cell."""
    from shellgen.envelope.facets import facets
    from shellgen.mold.skins import SkinSpec, envelope, plan_grid
    from shellgen.pattern.load import load

    raw = load(path)
    scale = size_mm / np.ptp(raw.vertices, axis=0).max()
    vertices = (raw.vertices - raw.vertices.mean(axis=0)) * scale
    order = np.argsort(np.ptp(vertices, axis=0))[::-1]
    vertices = np.ascontiguousarray(vertices[:, order])
    spec = SkinSpec(8.0, 0.5, 6.0, 5.0, 3.0, pitch_mm, 0.04)

    def ours():  # type: ignore[no-untyped-def]
        mesh = facets(vertices, raw.faces, spec.thickness_mm + spec.crevice_mm)
        return envelope(mesh, plan_grid(mesh, spec, on_board=False), spec.jacket_mm, spec)

    seconds, made = timed(ours)
    rows = [(f"one envelope, {len(raw.faces)} triangles, {pitch_mm:g} mm", seconds, str(made.heights_mm.shape))]
    try:
        import pymeshlab
    except ImportError:
        return [*rows, ("peer: pymeshlab is not installed", float("nan"), "")]
    peer = pymeshlab.MeshSet()
    peer.add_mesh(pymeshlab.Mesh(vertices, raw.faces))
    start = time.perf_counter()
    peer.generate_resampled_uniform_mesh(
        cellsize=pymeshlab.PureValue(2 * pitch_mm), offset=pymeshlab.PureValue(8.0), mergeclosevert=True, absdist=False
    )
    peer_s = time.perf_counter() - start
    return [*rows, (f"peer's offset at {2 * pitch_mm:g} mm", peer_s, f"{peer_s / seconds:.1f} times as long")]


def whole_job(path: Path, size_mm: float, pitch_mm: float, method: str) -> dict[str, float]:
    """Steps of a build, warm: to both halves on disk, then checks and pictures apart."""
    from shellgen.job.model import Settings
    from shellgen.job.read import Job
    from shellgen.pipeline import build_job

    settings = Settings.model_validate(
        {
            "name": "bench",
            "pattern": {"file": str(path), "longest_side_mm": size_mm},
            "jacket": {"method": method},
            "raster": {"pitch_mm": pitch_mm},
            "outputs": {"step": False},
        }
    )
    with tempfile.TemporaryDirectory() as folder:
        job = Job(settings, Path(folder) / "bench.toml")
        build_job(job, Path(folder) / "warm")
        return build_job(job, Path(folder) / "out").timings


def parting(path: Path, size_mm: float) -> list[tuple[str, float, str]]:
    """CPU seconds of the search for planes (all offsets of 200 directions, refined) and of re-costing one plane."""
    from shellgen.parting.directions import hemisphere
    from shellgen.parting.plane_cost import cost_plane
    from shellgen.parting.rank import prepare
    from shellgen.parting.search import search
    from shellgen.pattern.load import load

    raw = load(path)
    vertices = raw.vertices * (size_mm / np.ptp(raw.vertices, axis=0).max())

    def looked():  # type: ignore[no-untyped-def]
        work = prepare(vertices, raw.faces, thickness_mm=8.0, mount="none", volume_mm3=None, draft_deg=3.0)
        looks = search(work, hemisphere(200, np.eye(3)))
        return work, min(looks, key=lambda look: look.fill_mm3)

    def cpu(call):  # type: ignore[no-untyped-def]
        call()
        start = time.process_time()
        return call(), time.process_time() - start

    (work, best), searched = cpu(looked)
    plane, once = cpu(lambda: cost_plane(work, best.normal, best.offset_mm, nodes_along=100))
    return [
        (f"CPU: 200 directions, all offsets, refined, {len(raw.faces)} triangles", searched, ""),
        ("CPU: one plane costed again on a coarse raster", once, f"fills {plane.fill_cm3:.0f} cm3"),
    ]


def halves_alone(path: Path, size_mm: float, pitch_mm: float, method: str) -> float:
    """Seconds from the mesh file to both halves on disk as STL, warm: no jacket, no 3MF."""
    from shellgen.envelope.warm import warm_up
    from shellgen.export.stl import write_stl
    from shellgen.export.weld import weld_float32
    from shellgen.job.defaults import fill_in
    from shellgen.job.model import Settings
    from shellgen.mold.design import design
    from shellgen.pattern.intake import take_in
    from shellgen.solid.mesh import mesh_of, moved, piece_solid

    given = {"pattern": {"file": str(path), "longest_side_mm": size_mm}, "jacket": {"method": method}}
    settings = Settings.model_validate({**given, "raster": {"pitch_mm": pitch_mm}})
    warm_up()
    start = time.perf_counter()
    pattern = take_in(settings, path.parent)
    plan = design(fill_in(settings, pattern.bounds_mm), pattern)
    with tempfile.TemporaryDirectory() as folder:
        for recipe in plan.pieces:
            solid = moved(piece_solid(recipe, plan.settings.outputs.mesh_tolerance_mm), recipe.pull_to_mold)
            vertices, faces, _ = weld_float32(*mesh_of(solid))
            write_stl(Path(folder) / f"{recipe.name}.stl", vertices, faces)
        return time.perf_counter() - start


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("mesh", nargs="?", type=Path)
    ask.add_argument("--size", type=float, default=600.0, help="longest side, mm")
    ask.add_argument("--pitch", type=float, default=1.0, help="raster step, mm")
    ask.add_argument("--method", choices=["brush", "pour"], default="brush")
    asked = ask.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = asked.mesh
        if path is None:
            path = Path(folder) / "scan.ply"
            scan(path)
        rows = envelope_against_peer(path, asked.size, asked.pitch) + parting(path, asked.size)
        steps = whole_job(path, asked.size, asked.pitch, asked.method)
        alone = halves_alone(path.resolve(), asked.size, asked.pitch, asked.method)
    for name, seconds, says in rows:
        print(f"{seconds:8.2f} s  {name}  {says}")
    apart = ("Checking the pieces", "Drawing the pictures")
    for name, seconds in steps.items():
        print(f"{seconds:8.2f} s  {name}{'  (apart)' if name in apart else ''}")
    print(f"{alone:8.2f} s  mesh file to both halves as STL, nothing else")
    total = sum(s for name, s in steps.items() if name not in apart)
    print(f"{total:8.2f} s  to all parts on disk, checks and pictures apart")
    print(f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:8.2f} GB peak memory of this process")


if __name__ == "__main__":
    main()
