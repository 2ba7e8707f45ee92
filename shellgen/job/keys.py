"""The keys of a job file, read off the settings model: name, what each takes, default, meaning."""

from __future__ import annotations

import types
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, MinLen
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from shellgen.job.model import ClearSettings, PieceSettings, PlaneSettings, Settings, SplitSettings

COUNT_WORDS = {2: "two", 3: "three"}
PLANE_TABLE = "a table {normal = [x, y, z]} or {angle_deg = a}, with offset_mm if wanted"
SPLIT_TABLE = f'{PLANE_TABLE}, and splits = "B" if wanted'
BOX_TABLE = "a table {low_mm = [x, y, z], high_mm = [x, y, z]}"


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the job file: `jacket.thickness_mm`, "a number from 1 to 60", 8.0, what it means."""

    dotted: str
    takes: str
    default: Any
    meaning: str

    @property
    def table(self) -> str:
        """Name of the table that holds it, empty for a key at the top of the file."""
        return self.dotted.rpartition(".")[0]

    @property
    def leaf(self) -> str:
        """The key's name within its table."""
        return self.dotted.rpartition(".")[2]


def _number(word: str, metadata: Iterable[Any]) -> str:
    limits = list(metadata)
    for item in metadata:
        if isinstance(item, FieldInfo):
            limits += item.metadata
    least = next((item.ge for item in limits if isinstance(item, Ge)), None)
    above = next((item.gt for item in limits if isinstance(item, Gt)), None)
    most = next((item.le for item in limits if isinstance(item, Le)), None)
    if least is not None and most is not None:
        return f"{word} from {least} to {most}"
    if least is not None:
        return f"{word}, {least} or more"
    return f"{word} above {above}" if above is not None else word


def takes(annotation: Any, metadata: Iterable[Any] = ()) -> str:
    """Say in words what a key of this type takes.

    >>> takes(Literal["brush", "pour"])
    '"brush" or "pour"'
    >>> takes(tuple[float, float])
    'two numbers [x, y]'
    """
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return takes(args[0], args[1:])
    if origin in (Union, types.UnionType):
        return ", or ".join(takes(arg, metadata) for arg in args if arg is not type(None))
    if origin is Literal:
        names = [f'"{arg}"' for arg in args]
        return " or ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
    if origin is tuple and args[-1] is not Ellipsis:
        return f"{COUNT_WORDS[len(args)]} numbers [{', '.join('xyz'[: len(args)])}]"
    if origin is tuple:
        return f"a list [[...]], each {takes(args[0])}"
    if origin is dict:
        return "tables named A, B, ..."
    if isinstance(annotation, type) and issubclass(annotation, SplitSettings):
        return SPLIT_TABLE
    if isinstance(annotation, type) and issubclass(annotation, PlaneSettings):
        return PLANE_TABLE
    if isinstance(annotation, type) and issubclass(annotation, ClearSettings):
        return BOX_TABLE
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "a table"
    if annotation is bool:
        return "true or false"
    if annotation in (int, float):
        return _number("a whole number" if annotation is int else "a number", metadata)
    if any(isinstance(item, MinLen) for item in metadata):
        return "a name of up to 60 letters, digits, spaces and . _ -, a letter or digit first"
    return "a text in quotes"


def _walk(model: type[BaseModel], prefix: str) -> Iterator[Key]:
    for name, field in model.model_fields.items():
        kind = field.annotation
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from _walk(kind, f"{prefix}{name}.")
        else:
            default = None if field.is_required() else field.get_default(call_default_factory=True)
            yield Key(f"{prefix}{name}", takes(kind, field.metadata), default, field.description or "")


@cache
def job_keys() -> tuple[Key, ...]:
    """All keys of a job file but those of one piece, one plane or one box, in the order of the model."""
    return tuple(_walk(Settings, ""))


@cache
def piece_keys(prefix: str = "pieces.A") -> tuple[Key, ...]:
    """The keys that one piece may have."""
    return tuple(_walk(PieceSettings, f"{prefix}."))


@cache
def plane_keys(prefix: str = "parting.plane") -> tuple[Key, ...]:
    """The keys of a plane given as a table."""
    return tuple(_walk(PlaneSettings, f"{prefix}."))


@cache
def split_keys(prefix: str = "parting.planes[1]") -> tuple[Key, ...]:
    """The keys of one of a list of planes."""
    return tuple(_walk(SplitSettings, f"{prefix}."))


@cache
def clear_keys(prefix: str = "parting.keep_clear[1]") -> tuple[Key, ...]:
    """The keys of a box that the seam should keep out of."""
    return tuple(_walk(ClearSettings, f"{prefix}."))


@cache
def table_meanings() -> dict[str, str]:
    """What each table of a job file is about, by its name."""
    tables = {name: field.annotation for name, field in Settings.model_fields.items()}
    found = {name: kind for name, kind in tables.items() if isinstance(kind, type) and issubclass(kind, BaseModel)}
    return {name: (kind.__doc__ or "").strip() for name, kind in found.items()}
