"""What a check says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Status = Literal["pass", "warn", "fail"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's result.

    id : stable name. title : what is checked, for the table. value : what was measured, limit : what it is held
    against, both in `unit` ("" for counts); None where there is no such figure. says : one sentence, with the place.
    """

    id: str
    title: str
    status: Status
    value: float | None
    limit: float | None
    unit: str
    says: str
