"""A sheet as it stands in the source, before anything is made of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

# Called with a step's name, how much of it is done, and how much there is to do.
Progress = Callable[[str, int, int], None]


def silent(step: str, done: int, total: int) -> None:
    """The progress nobody watches."""


@dataclass(frozen=True)
class Block:
    """Merged cells: zero-based first and last row and column, all included."""

    first_row: int
    first_column: int
    last_row: int
    last_column: int

    def holds(self, row: int, column: int) -> bool:
        """Whether a cell lies in it."""
        return (
            self.first_row <= row <= self.last_row
            and self.first_column <= column <= self.last_column
        )

    def __str__(self) -> str:
        first = f"{column_letters(self.first_column)}{self.first_row + 1}"
        return f"{first}:{column_letters(self.last_column)}{self.last_row + 1}"


@dataclass(frozen=True)
class Sheet:
    """Raw cells by row; `rows[0]` is the spreadsheet's row 1, and so on without gaps.

    A raw cell is text, number, bool, date, datetime, time, timedelta, None, `NoResult` or
    `ErrorValue`. `formulas` are the zero-based (row, column) of cells whose value a formula
    gave; `too_long` the zero-based rows of a CSV file with more cells than headings. `blanks`
    are words that stand for a blank here. `notes` are sentences for the summary.
    """

    name: str
    rows: list[list[Any]]
    formulas: frozenset[tuple[int, int]] = frozenset()
    merged: tuple[Block, ...] = ()
    too_long: frozenset[int] = frozenset()
    blanks: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    heading_is_first: bool = False

    def cell(self, row: int, column: int) -> Any:
        """A raw cell by zero-based row and column; None beyond the end of the row."""
        cells = self.rows[row]
        return cells[column] if column < len(cells) else None


@dataclass(frozen=True)
class Source:
    """A file or folder with its sheets found: table name → sheet."""

    id: str
    kind: str
    name: str
    sha256: str
    sheets: Mapping[str, Sheet]
    notes: tuple[str, ...] = ()
    unread_sheets: tuple[str, ...] = field(default=())


def column_letters(column: int) -> str:
    """The spreadsheet's letters of a zero-based column: 0 is A, 26 is AA."""
    letters = ""
    number = column + 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def row_label(row: int) -> int:
    """The spreadsheet's number of a zero-based row."""
    return row + 1
