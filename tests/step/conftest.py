"""Molds of a ball, torus, box, tilted disc, bowed column, and radial pieces, and their STEP files, made once."""

import numpy as np
import pytest
import trimesh

from shellgen.checks.step import step_findings
from shellgen.export.step import write_steps
from shellgen.job.model import Settings
from shellgen.job.read import Job
from shellgen.pipeline import Watch, make_mold
from shellgen.progress import Quiet

BALL_MM = 30.0
TORUS_MM = (45.0, 14.0)
DISC_MM, TILT_DEG = (40.0, 2.0), 30.0
COLUMN_MM, BOW_MM = (14.0, 90.0), 24.0  # radius and height of the column; how far its middle stands off


class Build:
    """A mold with its STEP files and what the checks say of them."""

    def __init__(self, folder, mesh, **tables):
        path = folder / "pattern.stl"
        mesh.export(path)
        data = {"name": folder.name.rstrip("0123456789"), "pattern": {"file": str(path)}, "raster": {"pitch_mm": 0.6}}
        self.mold = make_mold(Job(Settings.model_validate({**data, **tables}), folder / "x.toml"), Watch(Quiet()))
        self.folder = folder
        self.files = write_steps(self.mold, folder, Quiet())
        self.findings = {f.id: f for f in step_findings(self.mold, folder, self.files)}

    def piece(self, name):
        return next(p for p in self.mold.design.pieces if p.name == name)


@pytest.fixture(scope="session")
def ball(tmp_path_factory):
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=BALL_MM)
    return Build(tmp_path_factory.mktemp("ball"), mesh, jacket={"keys": False})


@pytest.fixture(scope="session")
def torus(tmp_path_factory):
    ring = trimesh.creation.torus(*TORUS_MM, major_sections=160, minor_sections=80)
    return Build(
        tmp_path_factory.mktemp("torus"), ring, jacket={"keys": False, "thickness_mm": 4}, shell={"wall_mm": 4}
    )


@pytest.fixture(scope="session")
def box(tmp_path_factory):
    block = trimesh.creation.box(extents=(50.0, 36.0, 30.0))
    return Build(tmp_path_factory.mktemp("box"), block, mount={"kind": "board"}, bolts={"nut": "pocket"})


@pytest.fixture(scope="session")
def disc(tmp_path_factory):
    """A disc tilted about x, parted along its silhouette."""
    plate = trimesh.creation.cylinder(radius=DISC_MM[0], height=DISC_MM[1], sections=180)
    plate.apply_transform(trimesh.transformations.rotation_matrix(np.radians(TILT_DEG), [1, 0, 0]))
    parting = {"plane": {"normal": [0, 0, 1]}, "follow": "silhouette"}
    jacket = {"keys": False, "thickness_mm": 8, "draft_deg": 5}
    return Build(tmp_path_factory.mktemp("disc"), plate, parting=parting, jacket=jacket, raster={"pitch_mm": 0.5})


def bowed_mm(z_mm):
    """Where the column's axis runs, along y."""
    return BOW_MM * np.sin(np.pi * z_mm / COLUMN_MM[1])


@pytest.fixture(scope="session")
def column(tmp_path_factory):
    """A column on a board, every level section of it a circle, bowed along the pull and parted along its silhouette."""
    radius, tall = COLUMN_MM
    post = trimesh.creation.cylinder(radius=radius, height=tall, sections=160).subdivide_to_size(4.0)
    post.apply_translation([0.0, 0.0, tall / 2])
    post.vertices[:, 1] += bowed_mm(post.vertices[:, 2])
    parting = {"plane": {"normal": [0, 1, 0]}, "follow": "silhouette"}
    return Build(tmp_path_factory.mktemp("column"), post, parting=parting, mount={"kind": "board"})


@pytest.fixture(scope="session")
def wedges(tmp_path_factory):
    """Three radial pieces about a ball."""
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=BALL_MM)
    radial = {"kind": "radial", "pieces": 3}
    return Build(tmp_path_factory.mktemp("wedges"), mesh, parting=radial, jacket={"keys": False})


@pytest.fixture(scope="session")
def quarters(tmp_path_factory):
    """Four radial pieces about a block on a board."""
    block = trimesh.creation.box(extents=(44.0, 40.0, 50.0))
    radial = {"kind": "radial", "pieces": 4}
    return Build(tmp_path_factory.mktemp("quarters"), block, parting=radial, mount={"kind": "board"})


@pytest.fixture(scope="session")
def capped(tmp_path_factory):
    """A ball under a cap, what is below it in two halves."""
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=BALL_MM)
    cap = {"kind": "planes", "planes": [{"normal": [0, 0, 1], "offset_mm": 36}, {"angle_deg": 90, "splits": "B"}]}
    return Build(tmp_path_factory.mktemp("capped"), mesh, parting=cap, jacket={"keys": False})


@pytest.fixture(scope="session")
def stacked(tmp_path_factory):
    """A block on a board under a cap, what is below it in a half and two quarters."""
    block = trimesh.creation.box(extents=(44.0, 40.0, 50.0))
    planes = [{"normal": [0, 0, 1], "offset_mm": 30}, {"angle_deg": 90, "splits": "B"}, {"angle_deg": 0, "splits": "C"}]
    parting = {"kind": "planes", "planes": planes}
    return Build(tmp_path_factory.mktemp("stacked"), block, parting=parting, mount={"kind": "board"})


@pytest.fixture(scope="session")
def leaning(tmp_path_factory):
    """A ball between planes that lean every way."""
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=BALL_MM)
    planes = [{"normal": [0, 0.5, 1], "offset_mm": 30}, {"normal": [1, 0.3, 0.2], "offset_mm": 6}]
    parting = {"kind": "planes", "planes": planes}
    return Build(tmp_path_factory.mktemp("leaning"), mesh, parting=parting, jacket={"keys": False})
