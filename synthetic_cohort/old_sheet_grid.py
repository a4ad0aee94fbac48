"""The cells of the old sheet: as they are planned, and as they were written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from synthetic_cohort.old_sheet_cells import Cell, Fact

Grid = list[list[Cell | None]]


@dataclass(frozen=True)
class WrittenCell:
    """A cell of the sheet that is not blank.

    `row` as the spreadsheet counts it; `way` says how the clean value was written; `fate` is
    "taken", "reported", "blank" or "left out"; `facts` are the clean values it carries (None
    where the cell no longer says them).
    """

    row: int
    column: int
    heading: str
    raw: Any
    way: str
    fate: str
    facts: tuple[Fact, ...]
    patient_id: str | None
