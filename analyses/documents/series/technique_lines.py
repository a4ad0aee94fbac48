"""One comparison of a technique model, as the tables and figures show it."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.models.planned_result import PlannedResult
from analyses.statistics.estimate import Estimate


@dataclass(frozen=True)
class Line:
    """One comparison of a model: words, its ratio (None: not given, and why in `note`)."""

    label: str
    ratio: Estimate | None
    note: str
    result: PlannedResult
