"""Any sheet of an old .xls workbook, read with xlrd."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from registry.intake.sheet import Block, Progress, Sheet
from registry.intake.workbook_read import percent_text
from registry.intake.xlsx_parts import MAX_FILE_BYTES, is_encrypted
from registry.old_sheets.sources.old_source import OldFile, hidden_notes
from registry.problems.cell_text import ErrorValue
from registry.problems.problem import SourceError

_WHITE = {(255, 255, 255), None}
_AUTOMATIC = 64


def open_xls(path: Path, progress: Progress) -> OldFile:
    """The sheets of an .xls workbook. Raises SourceError where it cannot be read."""
    if path.stat().st_size > MAX_FILE_BYTES:
        raise SourceError(f"{path.name} is larger than {MAX_FILE_BYTES // 2**20} MB.")
    if is_encrypted(path):
        raise SourceError(
            f"{path.name} is protected with a password and cannot be read. Open it in the "
            "spreadsheet program, save it without the password, and take that in."
        )
    progress("reading the workbook", 0, 1)
    book = _book(path)
    progress("reading the workbook", 1, 1)
    return OldFile("xls", tuple(book.sheet_names()), lambda name: _sheet(book, name),
                   lambda name: _colours(book, name))


def _book(path: Path) -> Any:
    import io

    import xlrd

    try:
        # Its own remarks go to a place nobody reads: they could repeat content.
        return xlrd.open_workbook(str(path), formatting_info=True, logfile=io.StringIO())
    except xlrd.XLRDError as fault:
        protected = "encrypted" in str(fault).lower()
        raise SourceError(
            f"{path.name} is protected with a password and cannot be read." if protected else
            f"{path.name} is damaged or is no .xls workbook. Save it as .xlsx, and take that in."
        ) from fault
    except Exception as fault:  # noqa: BLE001  whatever a damaged file makes the reader raise
        raise SourceError(
            f"{path.name} is damaged. Open it in the spreadsheet program, save it as .xlsx, and "
            "take that in."
        ) from fault


def _sheet(book: Any, name: str) -> Sheet:
    sheet = book.sheet_by_name(name)
    rows = [[_value(book, sheet.cell(row, column)) for column in range(sheet.row_len(row))]
            for row in range(sheet.nrows)]
    hidden_rows = sorted(r for r, info in sheet.rowinfo_map.items()
                         if info.hidden and r < sheet.nrows and any(rows[r]))
    hidden_columns = sorted(c for c, info in sheet.colinfo_map.items()
                            if info.hidden and c < sheet.ncols)
    notes = hidden_notes(name, hidden_rows, hidden_columns)
    if sheet.visibility:
        notes.insert(0, f"{name}: the sheet is hidden; it was taken in all the same.")
    merged = tuple(Block(r0, c0, r1 - 1, c1 - 1) for r0, r1, c0, c1 in sheet.merged_cells)
    return Sheet(name, rows, merged=merged, notes=tuple(notes))


def _value(book: Any, cell: Any) -> Any:
    import xlrd

    if cell.ctype in (xlrd.XL_CELL_EMPTY, xlrd.XL_CELL_BLANK):
        return None
    if cell.ctype == xlrd.XL_CELL_ERROR:
        return ErrorValue(xlrd.error_text_from_code.get(cell.value, "#ERROR"))
    if cell.ctype == xlrd.XL_CELL_BOOLEAN:
        return bool(cell.value)
    if cell.ctype == xlrd.XL_CELL_DATE:
        return _date(cell.value, book.datemode)
    if cell.ctype == xlrd.XL_CELL_NUMBER:
        style = book.xf_list[cell.xf_index] if cell.xf_index is not None else None
        shape = book.format_map.get(style.format_key) if style else None
        return percent_text(cell.value) if shape and "%" in shape.format_str else cell.value
    return cell.value


def _date(value: float, datemode: int) -> Any:
    """A day or a clock time, in the date system of the workbook (from 1900 or from 1904)."""
    import xlrd

    try:
        if value < 1:
            return (dt.datetime(2000, 1, 1) + dt.timedelta(days=value)).time()
        return xlrd.xldate_as_datetime(value, datemode)
    except (xlrd.xldate.XLDateError, OverflowError, ValueError):
        return value


def _colours(book: Any, name: str) -> Mapping[int, int]:
    import xlrd

    found: Counter[int] = Counter()
    sheet = book.sheet_by_name(name)
    for row in range(sheet.nrows):
        for column in range(sheet.row_len(row)):
            cell = sheet.cell(row, column)
            if cell.ctype in (xlrd.XL_CELL_EMPTY, xlrd.XL_CELL_BLANK) or cell.xf_index is None:
                continue
            back = book.xf_list[cell.xf_index].background
            if back.fill_pattern == 1 and back.pattern_colour_index < _AUTOMATIC \
                    and book.colour_map.get(back.pattern_colour_index) not in _WHITE:
                found[column] += 1
    return dict(found)
