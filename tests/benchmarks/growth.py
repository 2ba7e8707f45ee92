"""How the cost of one skin grows with triangles and with the raster's area.

    python -m tests.benchmarks.growth

Prints the time of each size, and its ratio to the time that straight proportion to the smallest would give: 1 or less
is linear or better. Nothing is asserted.
"""

from __future__ import annotations

import time

import numpy as np

SIZE_MM = 300.0
TRIANGLES = (50_000, 200_000, 800_000, 3_200_000, 5_000_000)
PITCHES_MM = (1.0, 0.7, 0.5, 0.35, 0.25)


def lumpy(triangles: int):  # type: ignore[no-untyped-def]
    """A lumpy closed body: points (n, 3) [mm] and faces (m, 3), about as many as asked."""
    rings = int(np.sqrt(triangles / 4))
    turns = 2 * rings
    t, u = np.meshgrid(np.arange(rings) / (rings - 1), np.arange(turns) / turns, indexing="ij")
    wide, long = np.pi * (t - 0.5), 2 * np.pi * u
    p = np.stack([np.cos(wide) * np.cos(long), np.cos(wide) * np.sin(long), np.sin(wide)], -1).reshape(-1, 3)
    rng = np.random.default_rng(4)
    bumps = sum(np.sin(p @ rng.normal(size=3) * k + k) / k for k in (2, 3, 5, 9, 14, 30))
    i, j = np.meshgrid(np.arange(rings - 1), np.arange(turns), indexing="ij")
    a, b = i * turns + j, i * turns + (j + 1) % turns
    c, d = a + turns, b + turns
    faces = np.concatenate([np.stack([a, b, d], -1).reshape(-1, 3), np.stack([a, d, c], -1).reshape(-1, 3)])
    return p * (1 + 0.12 * bumps[:, None]) * (0.45 * SIZE_MM), faces.astype(np.int32)


def skin_s(vertices, faces, pitch_mm: float) -> float:  # type: ignore[no-untyped-def]
    """Seconds of the second of two skins over a mesh at a pitch, the windows of the mesh included."""
    from shellgen.envelope.facets import facets
    from shellgen.mold.skins import SkinSpec, envelope, plan_grid

    spec = SkinSpec(8.0, 0.5, 6.0, 5.0, 3.0, pitch_mm, 0.06)
    for _ in range(2):
        start = time.perf_counter()
        mesh = facets(vertices, faces, spec.thickness_mm + spec.crevice_mm)
        envelope(mesh, plan_grid(mesh, spec, on_board=False), spec.jacket_mm, spec)
        seconds = time.perf_counter() - start
    return seconds


def main() -> None:
    """Print both tables."""
    print("one skin at 1 mm by triangles")
    first = None
    for count in TRIANGLES:
        vertices, faces = lumpy(count)
        seconds = skin_s(vertices, faces, 1.0)
        first = first or seconds / len(faces)
        print(f"{len(faces):10d} triangles {seconds:7.2f} s  {seconds / len(faces) / first:5.2f} of proportional")
    vertices, faces = lumpy(TRIANGLES[1])
    print(f"one skin of {len(faces)} triangles by raster")
    first = None
    for pitch in PITCHES_MM:
        seconds = skin_s(vertices, faces, pitch)
        first = first or seconds * pitch**2
        print(f"{pitch:10.2f} mm {seconds:13.2f} s  {seconds * pitch**2 / first:5.2f} of proportional to its area")


if __name__ == "__main__":
    main()
