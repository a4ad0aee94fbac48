"""Values into cells: typed where they are values, as text where they are words.

Text that begins with a sign a spreadsheet takes for a formula is written as text and stays so.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import pandas as pd

from registry.problems.cell_text import as_text
from registry.schema import FieldSpec

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

    from registry.intake.form_look import Look

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
LONGEST_CELL = 32_767  # of an .xlsx cell
LARGEST_NUMBER = 1e300  # beyond this, and for infinity, only text is safe in a file
_DATES = range(1901, 9999)


def starts_like_formula(text: str) -> bool:
    """Whether a spreadsheet could take a text for a formula."""
    return text.startswith(FORMULA_SIGNS)


def write_cell(
    sheet: Worksheet, row: int, column: int, value: Any, spec: FieldSpec, look: Look, *,
    marked: bool = False,
) -> None:
    """Write one value; a marked blank is written too, so that its mark shows."""
    value = plain(value)
    if value is None:
        if marked:
            sheet.write_blank(row, column, None,
                              look.cell(spec, marked=True, as_text=False, quoted=False))
    elif isinstance(value, bool):
        sheet.write_string(row, column, "yes" if value else "no",
                           look.cell(spec, marked=marked, as_text=False, quoted=False))
    elif isinstance(value, int | float) and abs(value) < LARGEST_NUMBER:
        sheet.write_number(row, column, value,
                           look.cell(spec, marked=marked, as_text=spec.type == "date",
                                     quoted=False))
    elif isinstance(value, dt.date) and value.year in _DATES:
        sheet.write_datetime(row, column, _at_midnight(value), _date_look(spec, look, marked))
    else:
        text = as_text(value)[:LONGEST_CELL]
        sheet.write_string(row, column, text,
                           look.cell(spec, marked=marked, as_text=spec.type != "text",
                                     quoted=starts_like_formula(text)))


def _date_look(spec: FieldSpec, look: Look, marked: bool) -> Any:
    """A date keeps the look of one, even in a column of numbers, so that it is seen as one."""
    as_date = FieldSpec(spec.name, "date", spec.label, spec.definition)
    return look.cell(as_date, marked=marked, as_text=False, quoted=False)


def plain(value: Any) -> Any:
    """A value of a typed table as a plain one: blanks as None, numpy and pandas types undone."""
    if value is None or (pd.api.types.is_scalar(value) and pd.isna(value)):
        return None
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    return value.item() if hasattr(value, "item") else value


def _at_midnight(value: dt.date) -> dt.datetime:
    if isinstance(value, dt.datetime):
        return value.replace(tzinfo=None)
    return dt.datetime(value.year, value.month, value.day)
