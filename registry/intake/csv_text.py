"""The bytes of a CSV file → rows of text: encoding, separating mark, quotation marks."""

from __future__ import annotations

import codecs
import csv
import io
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from registry.intake.names import loose
from registry.problems.problem import SourceError
from registry.schema import TableSpec

MAX_CSV_BYTES = 50 * 2**20
MAX_CELLS = 12_000_000
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "upright bars"}

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True)
class CsvText:
    """Rows of a file as text, and sentences on how it was read."""

    rows: list[list[str]]
    notes: tuple[str, ...]


def read_csv_text(path: Path, table: TableSpec) -> CsvText:
    """The rows of one CSV file; a row with a line break in quotation marks counts as one.

    Raises SourceError where the file is too large, is not text, or has an open quotation mark.
    """
    text, encoding = decoded(path)
    separator = _separator(text, table)
    notes = []
    if encoding not in {"utf-8", "utf-8-sig"}:
        notes.append(f"{path.name}: read as {encoding}; UTF-8 is safer.")
    if separator != ",":
        notes.append(f"{path.name}: columns are separated by {SEPARATORS[separator]}.")
    return CsvText(list(rows_of(path, text, separator)), tuple(notes))


def decoded(path: Path, *, most_bytes: int = MAX_CSV_BYTES) -> tuple[str, str]:
    """A file's text and the encoding it was read in; SourceError where it is no text."""
    size = path.stat().st_size
    if size > most_bytes:
        raise SourceError(
            f"{path.name} is {size / 2**20:.0f} MB; a CSV file of this registry stays under "
            f"{most_bytes // 2**20} MB. Check that it is the right file."
        )
    data = path.read_bytes()
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _strictly(path, data, encoding)
    if b"\0" in data:
        return _without_mark(path, data)
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return _guessed(path, data)


def _strictly(path: Path, data: bytes, encoding: str) -> tuple[str, str]:
    try:
        return data.decode(encoding), encoding
    except UnicodeDecodeError:
        raise SourceError(_not_text(path)) from None


def _without_mark(path: Path, data: bytes) -> tuple[str, str]:
    """UTF-16 without its mark: every other byte of plain letters is zero."""
    even, odd = data[0:4000:2].count(0), data[1:4000:2].count(0)
    if len(data) % 2 == 0 and max(even, odd) > 0.3 * min(len(data) / 2, 2000):
        return _strictly(path, data, "utf-16-be" if even > odd else "utf-16-le")
    raise SourceError(_not_text(path))


def _guessed(path: Path, data: bytes) -> tuple[str, str]:
    """Windows-1252 if it can be; otherwise what the bytes look most like."""
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError:
        from charset_normalizer import from_bytes

        best = from_bytes(data[: 2**20]).best()
        if best is None:
            raise SourceError(_not_text(path)) from None
        return _strictly(path, data, best.encoding)


def _not_text(path: Path) -> str:
    return (
        f"{path.name} is not a text file. Save it from the spreadsheet program as CSV in UTF-8, "
        "and take that in."
    )


def _separator(text: str, table: TableSpec) -> str:
    """The mark that splits the first line into the most headings of this table."""
    names = {loose(s) for f in table.fields for s in (f.name, f.label, f.heading)}
    first = next((line for line in text.splitlines() if line.strip(" ,;\t|")), "")

    def headings(separator: str) -> int:
        cells = next(csv.reader([first], delimiter=separator), [])
        return sum(loose(cell) in names for cell in cells)

    return max(SEPARATORS, key=headings)


def rows_of(path: Path, text: str, separator: str) -> Iterator[list[str]]:
    """The rows of a text; SourceError for an open quotation mark or too many cells."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    cells = 0
    try:
        for row in reader:
            cells += len(row)
            if cells > MAX_CELLS:
                raise SourceError(f"{path.name} has more than {MAX_CELLS:,} cells; no table of "
                                  "this registry is so large.")
            # Equal texts are kept once: a column has few values.
            yield [sys.intern(cell) for cell in row]
    except csv.Error:
        raise SourceError(
            f"{path.name}, line {reader.line_num}: a quotation mark is opened and not closed, or "
            "stands inside a value. Write quotation marks inside a value twice, or save the file "
            "again from the spreadsheet program."
        ) from None
