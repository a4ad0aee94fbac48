"""The changes of practice a service made, and the stages they divide its process into."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Change:
    """One change of practice: the day, a few words, whether limits start afresh, and why."""

    day: date
    what: str
    new_stage: bool = False
    why: str = ""


def stage_of(days: Iterable[Any], changes: Sequence[Change]) -> list[str]:
    """The stage of each day: "before", then the words of the latest change with a new stage.

    days: dates in any form that numpy reads. The day of a change belongs to the new stage.
    """
    marks = sorted((c for c in changes if c.new_stage), key=lambda change: change.day)
    names = ["before" if marks else "all"]
    for number, change in enumerate(marks, start=1):
        name = f"after {change.what}"
        names.append(name if name not in names else f"{name} ({number})")
    when = np.array([np.datetime64(day, "D") for day in days])
    edges = np.array([change.day for change in marks], dtype="datetime64[D]")
    return [names[int(k)] for k in np.searchsorted(edges, when, side="right")]
