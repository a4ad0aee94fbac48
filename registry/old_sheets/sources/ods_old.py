"""Any sheet of an OpenDocument spreadsheet (ISO/IEC 26300), read from its content.xml.

The fast reader blanks errors and says nothing of merged cells and hiding in this form, so the
content is read here, as a stream, without document type declarations.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from defusedxml.ElementTree import XMLParser

from registry.intake.sheet import Block, Progress, Sheet
from registry.intake.workbook_read import percent_text
from registry.intake.xlsx_parts import MAX_FILE_BYTES, MAX_UNPACKED_BYTES, UNREADABLE
from registry.old_sheets.sources.old_source import OldFile, hidden_notes
from registry.problems.cell_text import ErrorValue
from registry.problems.problem import SourceError

MAX_AREA = 12_000_000
_CLOCK = re.compile(r"PT(\d+)H(\d+)M(\d+)(?:[.,]\d+)?S")
_ERROR = re.compile(r"#[A-Z0-9/]+[!?]?|Err:\d+")


def open_ods(path: Path, progress: Progress) -> OldFile:
    """The sheets of an .ods file. Raises SourceError where it cannot be read."""
    progress("reading the spreadsheet", 0, 1)
    found = _read(path)
    sheets = {sheet.name: sheet for sheet in found.sheets}
    progress("reading the spreadsheet", 1, 1)
    return OldFile("ods", tuple(sheets), lambda name: sheets[name],
                   lambda name: found.colours.get(name, {}))


def _read(path: Path) -> _Reader:
    target = _Reader(path.name)
    try:
        with zipfile.ZipFile(path) as archive:
            size = archive.getinfo("content.xml").file_size
            if path.stat().st_size > MAX_FILE_BYTES or size > MAX_UNPACKED_BYTES:
                raise SourceError(f"{path.name} is too large; copy the rows to a new file.")
            parser = XMLParser(target=target, forbid_dtd=True)
            with archive.open("content.xml") as stream:
                while block := stream.read(2**18):
                    parser.feed(block)
            parser.close()
    except UNREADABLE as fault:
        raise SourceError(
            f"{path.name} is damaged, protected, or no OpenDocument spreadsheet. Save it as .xlsx, "
            "and take that in."
        ) from fault
    return target


@dataclass
class _Open:
    """The sheet being read."""

    name: str
    hidden: bool
    rows: list[list[Any]] = field(default_factory=list)
    merged: list[Block] = field(default_factory=list)
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[int] = field(default_factory=list)
    colours: Counter[int] = field(default_factory=Counter)
    columns: int = 0
    blank_rows: int = 0


class _Reader:
    """Called by the XML parser for every element of the content."""

    def __init__(self, file: str) -> None:
        self.sheets: list[Sheet] = []
        self.colours: dict[str, dict[int, int]] = {}
        self._style = ""
        self._coloured: set[str] = set()
        self._file = file
        self._sheet: _Open | None = None
        self._row: list[Any] = []
        self._row_attributes: dict[str, str] = {}
        self._cell: dict[str, str] | None = None
        self._text: list[str] = []
        self._depth_note = 0
        self._cells = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag[tag.rfind("}") + 1:]
        plain = {key[key.rfind("}") + 1:]: value for key, value in attributes.items()}
        if name == "table":
            self._sheet = _Open(plain.get("name", ""), False)
        elif self._sheet is None:
            self._look(name, plain)
        elif name == "table-column":
            _column(self._sheet, plain)
        elif name == "table-row":
            self._row, self._row_attributes = [], plain
        elif name in {"table-cell", "covered-table-cell"}:
            self._cell, self._text = plain, []
        elif name == "annotation":
            self._depth_note += 1
        elif name == "p" and self._text and not self._depth_note:
            self._text.append("\n")
        elif name in {"s", "tab", "line-break"} and not self._depth_note:
            self._text.append(" " * int(plain.get("c", "1")) if name == "s" else "\n")

    def data(self, text: str) -> None:
        if self._cell is not None and not self._depth_note:
            self._text.append(text)

    def end(self, tag: str) -> None:
        name = tag[tag.rfind("}") + 1:]
        sheet = self._sheet
        if sheet is None:
            return
        if name in {"table-cell", "covered-table-cell"} and self._cell is not None:
            self._end_cell(sheet, self._cell)
            self._cell = None
        elif name == "table-row":
            self._end_row(sheet)
        elif name == "annotation":
            self._depth_note -= 1
        elif name == "table":
            self._end_sheet(sheet)
            self._sheet = None

    def close(self) -> None:
        """Nothing to build."""

    def _look(self, name: str, plain: dict[str, str]) -> None:
        """Which cell styles have a background of their own."""
        if name == "style":
            self._style = plain.get("name", "")
        elif name == "table-cell-properties" and plain.get(
            "background-color", "transparent"
        ).lower() not in {"transparent", "#ffffff"}:
            self._coloured.add(self._style)

    def _end_cell(self, sheet: _Open, plain: dict[str, str]) -> None:
        value = _value(plain, "".join(self._text))
        count = int(plain.get("number-columns-repeated", "1"))
        down = int(plain.get("number-rows-spanned", "1"))
        across = int(plain.get("number-columns-spanned", "1"))
        row, column = len(sheet.rows) + sheet.blank_rows, len(self._row)
        if value is not None and plain.get("style-name") in self._coloured:
            sheet.colours[column] += 1
        if down > 1 or across > 1:
            sheet.merged.append(Block(row, column, row + down - 1, column + across - 1))
        # Blank cells repeat to the sheet's edge; the row is cut at its last filled cell below.
        self._row += [value] * (min(count, 16384) if value is None else self._counted(count))

    def _end_row(self, sheet: _Open) -> None:
        count = int(self._row_attributes.get("number-rows-repeated", "1"))
        while self._row and self._row[-1] is None:
            self._row.pop()
        if not self._row:
            sheet.blank_rows += count
            return
        rows = sheet.rows
        self._counted(sheet.blank_rows)
        rows += [[] for _ in range(sheet.blank_rows)]
        sheet.blank_rows = 0
        if self._row_attributes.get("visibility") in {"collapse", "filter"}:
            sheet.hidden_rows += range(len(rows), len(rows) + count)
        self._counted(len(self._row) * count)
        rows += [list(self._row) for _ in range(count)]

    def _end_sheet(self, sheet: _Open) -> None:
        self.colours[sheet.name] = dict(sheet.colours)
        width = max((len(row) for row in sheet.rows), default=0)
        notes = hidden_notes(sheet.name, sheet.hidden_rows,
                             [c for c in sheet.hidden_columns if c < width])
        self.sheets.append(Sheet(sheet.name, sheet.rows, merged=tuple(sheet.merged),
                                 notes=tuple(notes)))

    def _counted(self, cells: int) -> int:
        self._cells += cells
        if self._cells > MAX_AREA:
            raise SourceError(f"{self._file} has more than {MAX_AREA:,} cells; copy the rows that "
                              "are meant to a new file.")
        return cells


def _column(sheet: _Open, plain: dict[str, str]) -> None:
    count = int(plain.get("number-columns-repeated", "1"))
    if plain.get("visibility") in {"collapse", "filter"}:
        first = sheet.columns
        sheet.hidden_columns += range(first, min(first + count, 16384))
    sheet.columns += count


def _value(plain: dict[str, str], text: str) -> Any:
    kind = plain.get("value-type")
    if kind in {"float", "currency"}:
        return ErrorValue(text) if _ERROR.fullmatch(text) else float(plain["value"])
    if kind == "percentage":
        return percent_text(float(plain["value"]))
    if kind == "boolean":
        return plain.get("boolean-value") == "true"
    if kind == "date":
        return _date(plain.get("date-value", ""), text)
    if kind == "time":
        match = _CLOCK.fullmatch(plain.get("time-value", ""))
        return dt.timedelta(hours=int(match[1]), minutes=int(match[2]), seconds=int(match[3])) \
            if match else text or None
    if _ERROR.fullmatch(text) and "formula" in plain:
        return ErrorValue(text)
    return text or None


def _date(value: str, text: str) -> Any:
    try:
        found = dt.datetime.fromisoformat(value)
    except ValueError:
        return text or None
    return found.date() if found.time() == dt.time() else found
