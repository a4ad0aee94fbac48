"""What a draft proposes for one column."""

from __future__ import annotations

from dataclasses import dataclass, field

from registry.old_sheets.draft.cells_tried import Fit
from registry.old_sheets.mapping.statements import ColumnPlan, Numbers, Target


@dataclass(frozen=True)
class Proposal:
    """One column of the sheet: a plan it is sure of, a reason to leave it out, or neither.

    `column` is zero-based; `cells` counts those that are not blank. `plan` is None where the
    column is left out (`leave_out` says why) or left open; `candidates` are then the fields it
    could be, best first, each with the share of cells that look like it. `notes` are sentences
    for the draft; `undecided` are statements that a person has to make ("unit", "split").
    """

    column: int
    heading: str
    cells: int
    plan: ColumnPlan | None = None
    leave_out: str | None = None
    fit: Fit | None = None
    numbers: Numbers = ()
    candidates: tuple[tuple[Target, float], ...] = ()
    notes: tuple[str, ...] = ()
    undecided: tuple[str, ...] = field(default=())

    @property
    def open(self) -> bool:
        """Whether a person has to decide what becomes of the column."""
        return self.plan is None and self.leave_out is None
