"""Where the table of an old sheet stands: headings, rows of totals, signs for "not recorded"."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

from registry.intake.sheet import Sheet
from registry.old_sheets.mapping.bind import headings_of
from registry.old_sheets.mapping.cell_reader import says_nothing
from registry.old_sheets.mapping.entry import loose_word
from registry.problems.cell_text import as_text, clean

_ROWS_LOOKED_AT = 30
_TOTALS = frozenset({"total", "totals", "sum", "mean", "average", "median", "count", "n", "n =",
                     "grand total", "all", "summe", "mittelwert"})
_BLANKS = ("?", "??", "n/a", "na", "n.a.", "-", "--", "---", "nk", "n/k", "n.k.", "nr", "n/r",
           "u/k", "not known", "not recorded", "not available")


@dataclass(frozen=True)
class Shape:
    """The table of a sheet: zero-based rows of headings, columns and their cells."""

    sheet: Sheet
    heading_rows: tuple[int, ...]
    headings: dict[int, str]
    totals: dict[int, tuple[str, ...]]
    blanks: tuple[str, ...]

    @property
    def first_row(self) -> int:
        """The first row below the headings."""
        return self.heading_rows[-1] + 1

    @property
    def columns(self) -> list[int]:
        """The columns with a heading or with cells below, from left to right."""
        width = max((len(cells) for cells in self.sheet.rows), default=0)
        return [c for c in range(width) if c in self.headings or any(
            not says_nothing(self.sheet.cell(row, c))
            for row in range(self.first_row, len(self.sheet.rows)))]

    def cells(self, column: int) -> list[tuple[int, Any]]:
        """Row and content of the cells of a column that are not blank and no totals."""
        words = {(c, word) for c, found in self.totals.items() for word in found}
        return [
            (row, raw) for row in range(self.first_row, len(self.sheet.rows))
            if not says_nothing(raw := self.sheet.cell(row, column))
            and not any(loose_word(self.sheet.cell(row, c)) == word for c, word in words)
        ]


def shape_of(sheet: Sheet) -> Shape | None:
    """The shape of a sheet; None where it has no row of headings with cells below."""
    row = _heading_row(sheet)
    if row is None:
        return None
    rows = (row - 1, row) if row > 0 and _grouping(sheet, row - 1) else (row,)
    headings = headings_of(sheet, rows)
    return Shape(sheet, rows, headings, _totals(sheet, row + 1), _blank_words(sheet, row + 1))


def _heading_row(sheet: Sheet) -> int | None:
    """The first row nearly as wide in words as the widest of the first rows."""
    counts = []
    for number, cells in enumerate(sheet.rows[:_ROWS_LOOKED_AT]):
        texts = {clean(as_text(raw)) for raw in cells if isinstance(raw, str) and clean(raw)}
        words = sum(not re.fullmatch(r"[\d\s.,/:%-]+", text) for text in texts)
        counts.append((number, words))
    most = max((count for _, count in counts), default=0)
    found = next((n for n, count in counts if count >= max(1, 0.7 * most)), None)
    if found is None or found + 1 >= len(sheet.rows):
        return None
    return found


def _grouping(sheet: Sheet, row: int) -> bool:
    """Whether a row holds at least two merged headings over several columns each."""
    return sum(
        block.first_row <= row <= block.last_row and block.last_column > block.first_column
        for block in sheet.merged
    ) >= 2


def _totals(sheet: Sheet, first: int) -> dict[int, tuple[str, ...]]:
    """Column → words in it that mark rows of totals, near the end of the sheet."""
    found: dict[int, set[str]] = {}
    for row in range(max(first, len(sheet.rows) - 12), len(sheet.rows)):
        for column, raw in enumerate(sheet.rows[row][:4]):
            if isinstance(raw, str) and loose_word(raw).rstrip(":") in _TOTALS:
                found.setdefault(column, set()).add(loose_word(raw))
    return {column: tuple(sorted(words)) for column, words in found.items()}


def _blank_words(sheet: Sheet, first: int) -> tuple[str, ...]:
    """The signs for "not recorded" that stand in the sheet."""
    there: Counter[str] = Counter()
    for cells in sheet.rows[first:]:
        there.update(raw.strip().casefold() for raw in cells
                     if isinstance(raw, str) and len(raw) < 20)
    return tuple(word for word in _BLANKS if there[word])
