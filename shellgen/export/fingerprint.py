"""One hash that stands for a design: job, pattern bytes, recipe and the versions that make solids of them."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from enum import Enum
from typing import Any

import numpy as np
from pydantic import BaseModel
from shapely.geometry.base import BaseGeometry

from shellgen.errors import KernelError
from shellgen.mold.mold import MoldDesign


def design_sha256(design: MoldDesign, versions: Mapping[str, str]) -> str:
    """SHA-256 of all that decides how the solids come out, as hex digits.

    The job's settings, the hash of the mesh file's bytes, the recipes of pieces and plates, and the versions.
    """
    digest = hashlib.sha256()
    for item in (design.settings, design.pattern.sha256, design.pieces, design.plates, dict(versions)):
        _feed(digest, item)
    return digest.hexdigest()


def _feed(digest: Any, value: Any) -> None:
    """Add a value to a hash, its type and length first, so that no two values read alike."""
    if isinstance(value, np.ndarray):
        digest.update(f"array {value.dtype.str} {value.shape}".encode())
        digest.update(np.ascontiguousarray(value).tobytes())
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        digest.update(f"{type(value).__name__}(".encode())
        for entry in dataclasses.fields(value):
            digest.update(f"{entry.name}=".encode())
            _feed(digest, getattr(value, entry.name))
        digest.update(b")")
    elif isinstance(value, BaseModel):
        digest.update(f"{type(value).__name__} {value.model_dump_json()}".encode())
    elif isinstance(value, Enum):
        digest.update(f"{type(value).__name__}.{value.name};".encode())
    elif isinstance(value, Mapping):
        digest.update(f"map {len(value)}".encode())
        for key in sorted(value):
            _feed(digest, key)
            _feed(digest, value[key])
    elif isinstance(value, (tuple, list)):
        digest.update(f"list {len(value)}".encode())
        for entry in value:
            _feed(digest, entry)
    elif isinstance(value, BaseGeometry):
        digest.update(b"shape" + value.wkb)
    elif isinstance(value, np.generic):
        _feed(digest, value.item())
    elif value is None or isinstance(value, (bool, int, float, str)):
        digest.update(f"{type(value).__name__} {value!r};".encode())
    else:
        raise KernelError(f"a design holds a {type(value).__name__}, which has no fingerprint")
