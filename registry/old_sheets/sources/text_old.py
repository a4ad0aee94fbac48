"""A text file of an old spreadsheet: commas, semicolons or tabs, in any usual encoding."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

from registry.intake.csv_text import SEPARATORS, decoded, rows_of
from registry.intake.sheet import Progress, Sheet
from registry.old_sheets.sources.old_source import OldFile
from registry.problems.problem import SourceError

# 50,000 rows of 200 columns and more; an old sheet is wider than any table of ours.
_MAX_BYTES = 300 * 2**20
_LINES_LOOKED_AT = 60


def open_text(path: Path, progress: Progress) -> OldFile:
    """The one sheet of a text file, named like the file. Raises SourceError where it is no text."""
    progress("reading the file", 0, 1)
    text, encoding = decoded(path, most_bytes=_MAX_BYTES)
    separator = _separator(text)
    notes = [] if encoding in {"utf-8", "utf-8-sig"} else [f"{path.name}: read as {encoding}."]
    if separator != ",":
        notes.append(f"{path.name}: columns are separated by {SEPARATORS[separator]}.")
    rows = list(rows_of(path, text, separator))
    if not any(any(cell.strip() for cell in row) for row in rows):
        raise SourceError(f"{path.name} holds no cells.")
    sheet = Sheet(path.name, rows, notes=tuple(notes))
    progress("reading the file", 1, 1)
    return OldFile("text", (path.name,), lambda name: sheet)


def _separator(text: str) -> str:
    """The mark that gives most lines the same number of columns, the more columns the better."""
    lines = text.splitlines()[:_LINES_LOOKED_AT]

    def agreement(separator: str) -> tuple[int, int]:
        try:
            widths = Counter(len(row) for row in csv.reader(lines, delimiter=separator) if row)
        except csv.Error:
            return (0, 0)
        width, count = max(
            ((w, n) for w, n in widths.items() if w > 1), default=(1, 0),
            key=lambda one: (one[1] * min(one[0], 20), one[0]),
        )
        return (count * min(width, 20), width)

    return max(SEPARATORS, key=agreement)
