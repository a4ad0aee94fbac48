"""The problems as a table a person can act on: an .xlsx file."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from registry.intake.form_cells import LONGEST_CELL, starts_like_formula
from registry.intake.form_look import PALE, row_height
from registry.problems.problem import OutputError, Problem

if TYPE_CHECKING:
    from xlsxwriter import Workbook

HEADINGS = (
    "Weight", "Sheet", "Row", "Column", "Study code", "What was found", "What is wanted",
    "How to mend it",
)
_WIDTHS = (16, 18, 8, 24, 13, 44, 48, 56)
WEIGHTS = {"error": "to be mended", "query": "please check"}
ALREADY = "(in the registry)"


def problem_rows(problems: Sequence[Problem]) -> list[tuple[str, ...]]:
    """A row of text a problem, in the order of `HEADINGS`; what must be mended comes first."""
    ordered = sorted(problems, key=lambda problem: problem.severity != "error")
    return [
        (
            WEIGHTS[problem.severity],
            problem.place.sheet if problem.place else ALREADY,
            str(problem.place.row or "") if problem.place else "",
            problem.column,
            problem.patient_id or "",
            problem.found,
            problem.wanted,
            problem.mend,
        )
        for problem in ordered
    ]


def write_problem_list(path: str | Path, problems: Sequence[Problem]) -> None:
    """Write the problems to an .xlsx file, all cells as text. Raises OutputError.

    A file that is there is replaced; the same problems give the same bytes.
    """
    from xlsxwriter import Workbook
    from xlsxwriter.exceptions import XlsxWriterException

    target = Path(path)
    part = target.with_name(f".{target.name}.part")
    workbook = Workbook(str(part))
    try:
        workbook.set_properties({"title": "Problems", "created": dt.datetime(2000, 1, 1)})
        _fill(workbook, problem_rows(problems))
        workbook.close()
        os.replace(part, target)
    except (OSError, XlsxWriterException) as fault:
        part.unlink(missing_ok=True)
        raise OutputError(f"{target.name} cannot be written to {target.parent}.") from fault


def _fill(workbook: Workbook, rows: list[tuple[str, ...]]) -> None:
    sheet = workbook.add_worksheet("Problems")
    centred = workbook.add_format({"align": "center", "valign": "top"})
    heading = workbook.add_format({"bold": True, "bg_color": PALE, "bottom": 2, "text_wrap": True})
    words = workbook.add_format({"text_wrap": True, "valign": "top"})
    quoted = workbook.add_format({"text_wrap": True, "valign": "top", "quote_prefix": True})
    for column, (name, width) in enumerate(zip(HEADINGS, _WIDTHS, strict=True)):
        sheet.set_column(column, column, width)
        sheet.write_string(0, column, name, heading)
    for number, row in enumerate(rows, start=1):
        sheet.set_row(number, row_height(row, _WIDTHS))
        for column, text in enumerate(row):
            if HEADINGS[column] == "Row" and text:
                sheet.write_number(number, column, int(text), centred)
            else:
                look = quoted if starts_like_formula(text) else words
                sheet.write_string(number, column, text[:LONGEST_CELL], look)
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, max(len(rows), 1), len(HEADINGS) - 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
