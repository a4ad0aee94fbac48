"""The old sheet as a file: titles, headings, cells, colours, legend."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from synthetic_cohort.old_sheet_columns import Column
from synthetic_cohort.old_sheet_grid import Grid, WrittenCell

SHEET = "AVM database"
TITLE_ROWS = 2
HEADING_ROW = TITLE_ROWS + 1
FIRST_ROW = HEADING_ROW + 1

COLOURS = {"died": "#F4B6B6", "not seen again": "#FFF2A8", "films checked twice": "#CDE8C9"}
LEGEND = (
    "red: died; yellow: not seen again; green: films checked twice",
    "one row a patient; all embolised with EVOH 6 %, all arterial, all surgery planned",
    "dates: day first; fellow F3 wrote the month first",
    "Size in cm unless it says mm; diameters in any order",
    "mRS 1-2: the higher counts",
    "vol: one figure a pedicle, in the order of the pedicles, in cc",
    "contrast and EBL in ml; 120 + 80 means both together",
    "complications: the first one after an embolisation; attribution probable",
    "? n/a - nk: not recorded",
)


def write_file(
    path: Path, cells: Sequence[WrittenCell], plan: Sequence[Column], grid: Grid,
    colours: Mapping[int, str], total_row: int,
) -> None:
    """Write the workbook. The same cells give the same bytes: no clock time goes in."""
    from xlsxwriter import Workbook

    book = Workbook(str(path), {
        "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
    })
    book.set_properties({"created": dt.datetime(2024, 1, 1)})
    sheet = book.add_worksheet(SHEET)
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True})
    title = book.add_format({"bold": True, "font_size": 14})
    looks: dict[tuple[str, str], Any] = {}

    def look(colour: str, shown: str) -> Any:
        if (colour, shown) not in looks:
            chosen = {"bg_color": COLOURS[colour]} if colour else {}
            looks[colour, shown] = book.add_format(
                chosen | ({"num_format": shown} if shown else {}))
        return looks[colour, shown]

    for cell in (c for c in cells if c.row <= TITLE_ROWS):
        sheet.merge_range(cell.row - 1, 0, cell.row - 1, 7, cell.raw, title)
    for at, column in enumerate(plan):
        sheet.set_column(at, at, column.width)
        sheet.write_string(HEADING_ROW - 1, at, column.heading, bold)
    for cell in (c for c in cells if c.row >= FIRST_ROW):
        written = grid[cell.row - FIRST_ROW][cell.column] if cell.row < total_row else None
        shown = written.shown if written else ""
        if isinstance(cell.raw, dt.datetime):
            shown = "dd/mm/yyyy"
        form = look(colours.get(cell.row, ""), shown)
        _write(sheet, cell.row - 1, cell.column, cell.raw, form)
    sheet.freeze_panes(HEADING_ROW, 2)
    legend = book.add_worksheet("Legend")
    legend.set_column(0, 0, 90)
    for number, line in enumerate(LEGEND):
        legend.write_string(number, 0, line)
    book.close()


def _write(sheet: Any, row: int, column: int, raw: Any, form: Any) -> None:
    if isinstance(raw, dt.datetime):
        sheet.write_datetime(row, column, raw, form)
    elif isinstance(raw, str):
        sheet.write_string(row, column, raw, form)
    else:
        sheet.write_number(row, column, raw, form)
