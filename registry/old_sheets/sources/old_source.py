"""What the readers of old spreadsheets hand out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from registry.intake.sheet import Sheet, column_letters


@dataclass(frozen=True)
class OldFile:
    """A file's sheets: their names in order, and a way to read one of them."""

    kind: str
    names: tuple[str, ...]
    read: Callable[[str], Sheet]
    colours: Callable[[str], Mapping[int, int]] = field(default=lambda name: {})


@dataclass(frozen=True)
class OldSource:
    """The one sheet of an old spreadsheet that a mapping reads.

    `other_sheets` are the sheets that it does not read. `colours` counts the coloured cells of
    each column (zero-based), where the file tells: a colour is not read.
    """

    id: str
    kind: str
    name: str
    sha256: str
    sheet: Sheet
    other_sheets: tuple[str, ...] = ()
    colours: Mapping[int, int] = field(default_factory=dict)

    @property
    def notes(self) -> list[str]:
        """Sentences for the summary: hidden parts, colours, sheets that were not read."""
        notes = list(self.sheet.notes)
        if self.colours:
            letters = ", ".join(column_letters(c) for c in sorted(self.colours)[:10])
            more = len(self.colours) - 10
            count = sum(self.colours.values())
            notes.append(
                f"{self.sheet.name}: {count} cell{'s are' if count > 1 else ' is'} coloured "
                f"(column {letters}{f' and {more} more' if more > 0 else ''}). Colours are not "
                "read: where one means something, write it into a column first."
            )
        if self.other_sheets:
            listed = ", ".join(f'"{name}"' for name in self.other_sheets)
            notes.append(f"Sheets not read by this mapping: {listed}.")
        return notes


def hidden_notes(name: str, rows: list[int], columns: list[int]) -> list[str]:
    """Sentences on hidden rows and columns (zero-based), which are read like the others."""
    notes = []
    if rows:
        counted = "1 hidden row was" if len(rows) == 1 else f"{len(rows)} hidden rows were"
        notes.append(f"{name}: {counted} taken in like the others (the first is row "
                     f"{rows[0] + 1}).")
    if columns:
        letters = ", ".join(column_letters(c) for c in columns[:10])
        notes.append(f"{name}: hidden columns were read like the others ({letters}).")
    return notes
