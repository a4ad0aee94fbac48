"""The entry workbook as a form: sheets, headings, lists, checks, notes, and rows if there are any.

Written with XlsxWriter. The same rows give the same bytes: no clock time goes into the file.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from registry.intake.columns_named import WHY_HEADING
from registry.intake.form_cells import LONGEST_CELL, write_cell
from registry.intake.form_checks import Lists, add_check
from registry.intake.form_look import Look, column_width, row_height
from registry.intake.workbook_pages import (
    CODE_LABEL,
    DICTIONARY_HEADINGS,
    DICTIONARY_PAGE,
    FIRST_PAGE,
    LIST_HEADINGS,
    LISTS_PAGE,
    TITLE,
    dictionary_rows,
    first_page,
    heading_note,
)
from registry.intake.xlsx_parts import SOURCE_PROPERTY
from registry.problems.problem import OutputError
from registry.schema import TABLES, TableSpec

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

# A note a marked cell makes a file slow to open when there are very many; the reason stands
# beside the row in any case.
MOST_NOTES = 2000
WHY_WIDTH = 72
_NO_CLOCK = dt.datetime(2000, 1, 1)


@dataclass(frozen=True)
class FormRow:
    """A row to be written: cells by field name, the reason of each marked one, and of the row.

    `beside` are texts behind the last column, under `LIST_HEADINGS`, that are only to be read.
    """

    cells: Mapping[str, Any]
    marks: Mapping[str, str] = field(default_factory=dict)
    why: str = ""
    beside: tuple[str, ...] = ()


def write_form(path: Path, rows: Mapping[str, Sequence[FormRow]], *, source_id: str) -> None:
    """Write the form with `rows` (by table name) to `path`, replacing a file that is there.

    A column of reasons is added before the others where a row has one. The file is written
    beside `path` and then renamed, so that no half-written one is left. Raises OutputError.
    """
    from xlsxwriter import Workbook
    from xlsxwriter.exceptions import XlsxWriterException

    part = path.with_name(f".{path.name}.part")
    workbook = Workbook(str(part), {
        "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
    })
    try:
        _Form(workbook, source_id, rows).write()
        workbook.close()
        os.replace(part, path)
    except (OSError, XlsxWriterException) as fault:
        part.unlink(missing_ok=True)
        raise OutputError(f"{path.name} cannot be written to {path.parent}: check that the folder "
                          "is there and may be written to.") from fault


class _Form:
    """One workbook being written."""

    def __init__(
        self, workbook: Workbook, source_id: str, rows: Mapping[str, Sequence[FormRow]]
    ) -> None:
        self.workbook, self.source_id, self.rows = workbook, source_id, rows
        self.look = Look(workbook)
        self.shift = int(any(row.why for table in rows.values() for row in table))
        self.notes_left = MOST_NOTES

    def write(self) -> None:
        self.workbook.set_properties({"title": TITLE, "created": _NO_CLOCK})
        self.workbook.set_custom_property(SOURCE_PROPERTY, self.source_id)
        self._first_page(self.workbook.add_worksheet(FIRST_PAGE))
        sheets = {name: self.workbook.add_worksheet(t.label) for name, t in TABLES.items()}
        lists = Lists(self.workbook.add_worksheet(LISTS_PAGE))
        for name, sheet in sheets.items():
            self._table(sheet, TABLES[name], lists)
        self._dictionary(self.workbook.add_worksheet(DICTIONARY_PAGE))

    def _first_page(self, sheet: Worksheet) -> None:
        sheet.hide_gridlines(2)
        sheet.set_column(0, 0, 26)
        sheet.set_column(1, 1, 92)
        sheet.set_row(0, 34)
        sheet.write_string(0, 0, TITLE, self.look.title)
        for number, (margin, words) in enumerate(first_page(), start=2):
            sheet.set_row(number, row_height([words], [100]))
            sheet.write_string(number, 0, margin, self.look.margin)
            sheet.write_string(number, 1, words, self.look.words)
        last = 2 + len(first_page())
        sheet.write_string(last, 0, CODE_LABEL, self.look.margin)
        sheet.write_string(last, 1, self.source_id, self.look.code)
        sheet.set_landscape()
        sheet.set_paper(9)
        sheet.fit_to_pages(1, 1)

    def _table(self, sheet: Worksheet, table: TableSpec, lists: Lists) -> None:
        sheet.set_row(0, 62)
        if self.shift:
            sheet.set_column(0, 0, WHY_WIDTH, self.look.why)
            sheet.write_string(0, 0, WHY_HEADING, self.look.why_heading)
        for number, spec in enumerate(table.fields, start=self.shift):
            sheet.set_column(number, number, column_width(spec), self.look.column(spec))
            sheet.write_string(0, number, spec.heading, self.look.heading(spec))
            sheet.write_comment(0, number, heading_note(spec), {"x_scale": 2, "y_scale": 1.6})
            add_check(sheet, number, table, spec, lists, self.shift)
        if any(row.beside for row in self.rows.get(table.name, ())):
            self._beside(sheet, self.shift + len(table.fields), self.rows[table.name])
        sheet.freeze_panes(1, self.shift + len(table.key))
        _print_setup(sheet)
        self._rows(sheet, table, self.rows.get(table.name, ()))

    def _beside(self, sheet: Worksheet, first: int, rows: Iterable[FormRow]) -> None:
        """What is only to be read, behind the last column to fill in."""
        widths = (20, 44, 12, 9, 12, 12, 14, 12)
        for column, (heading, width) in enumerate(zip(LIST_HEADINGS, widths, strict=True), first):
            sheet.set_column(column, column, width)
            sheet.write_string(0, column, heading, self.look.plain_heading)
        for number, row in enumerate(rows, start=1):
            sheet.set_row(number, row_height(row.beside, widths))
            for column, text in enumerate(row.beside, start=first):
                sheet.write_string(number, column, text, self.look.words)

    def _rows(self, sheet: Worksheet, table: TableSpec, rows: Iterable[FormRow]) -> None:
        for number, row in enumerate(rows, start=1):
            if row.why:
                sheet.set_row(number, row_height([row.why], [WHY_WIDTH]))
                sheet.write_string(number, 0, row.why[:LONGEST_CELL], self.look.why)
            for column, spec in enumerate(table.fields, start=self.shift):
                reason = row.marks.get(spec.name)
                write_cell(sheet, number, column, row.cells.get(spec.name), spec, self.look,
                           marked=bool(reason))
                if reason and self.notes_left:
                    self.notes_left -= 1
                    sheet.write_comment(number, column, reason, {"x_scale": 2})

    def _dictionary(self, sheet: Worksheet) -> None:
        widths = (16, 26, 26, 9, 10, 12, 56, 72)
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
        sheet.set_row(0, 34)
        sheet.write_row(0, 0, DICTIONARY_HEADINGS, self.look.plain_heading)
        for number, row in enumerate(dictionary_rows(), start=1):
            sheet.set_row(number, row_height(row, widths))
            for column, text in enumerate(row):
                sheet.write_string(number, column, text, self.look.words)
        sheet.freeze_panes(1, 2)
        _print_setup(sheet)


def _print_setup(sheet: Worksheet) -> None:
    sheet.set_landscape()
    sheet.set_paper(8)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
