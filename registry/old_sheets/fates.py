"""What became of every cell of a sheet, while it is read: one small number a cell."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

from registry.intake.cell import is_blank
from registry.intake.sheet import Sheet


class Fate(IntEnum):
    """What became of a cell. The blank ones are not counted."""

    BLANK = 0
    NOT_YET = 1
    TAKEN = 2
    PROBLEM = 3
    HEADING = 4
    ABOVE = 5
    LEFT_COLUMN = 6
    LEFT_ROW = 7
    BLANK_WORD = 8
    SHEET_BLANK_WORD = 9
    LEFT_OTHER = 10


@dataclass
class Fates:
    """The fate of each cell, by zero-based row and column.

    `reasons` says why of cells that are problems; at most `MOST_REASONS` of them are kept, the
    rest are in the list of problems all the same.
    """

    codes: np.ndarray
    reasons: dict[tuple[int, int], str] = field(default_factory=dict)

    def problem(self, row: int, column: int, why: str) -> None:
        """A cell that could not be taken."""
        self.codes[row, column] = Fate.PROBLEM
        self.reasons.setdefault((row, column), why)

    def taken(self, row: int, column: int) -> None:
        """A cell whose content was taken, unless something is wrong with it already."""
        if self.codes[row, column] != Fate.PROBLEM:
            self.codes[row, column] = Fate.TAKEN


def fates_of(sheet: Sheet) -> Fates:
    """All cells of a sheet that are not blank, waiting for their fate."""
    width = max((len(cells) for cells in sheet.rows), default=0)
    codes = np.zeros((len(sheet.rows), width), dtype=np.uint8)
    for number, cells in enumerate(sheet.rows):
        for column, raw in enumerate(cells):
            if raw is not None and raw != "" and not is_blank(raw):
                codes[number, column] = Fate.NOT_YET
    return Fates(codes)
