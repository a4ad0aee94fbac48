"""Text to value, one cell at a time: the only way a cell becomes data.

Knows nothing of sheets or workbooks, so every kind of source can use it.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

from registry.intake.cell import Cell, Remark, fault, is_blank
from registry.intake.cell_dates import read_date
from registry.intake.cell_numbers import read_number
from registry.intake.cell_words import read_choice, read_text, read_yes_no
from registry.problems.cell_text import ErrorValue, NoResult, as_text
from registry.schema import FieldSpec


@dataclass(frozen=True)
class Habits:
    """How a source writes: what to know before reading any of its cells.

    `today` is the day of the intake (later dates are asked about); `blanks` are the words that
    stand for "not recorded"; `comma_decimals` says that decimal commas occur.
    """

    today: dt.date
    blanks: frozenset[str] = frozenset()
    comma_decimals: bool = False


def read_cell(raw: Any, spec: FieldSpec, habits: Habits) -> Cell:
    """The value of one raw cell for one field.

    `raw` is what the file held: text, number, bool, date, datetime, time, timedelta, None,
    `NoResult` or `ErrorValue`. The value is a str, int, float, bool or `datetime.date` in the
    field's unit, or None where the cell is blank or faulty. Nothing is raised.
    """
    if isinstance(raw, NoResult):
        return _no_result(spec)
    if isinstance(raw, ErrorValue):
        return fault("error-value", raw, spec.wanted,
                     "the spreadsheet could not work this cell out: type the value itself")
    if is_blank(raw, habits.blanks):
        return _missing(spec) if spec.required else Cell()
    if isinstance(raw, float) and not math.isfinite(raw):
        # Neither a number nor a word: no column may take "nan" for a code or a day.
        return fault("out-of-range", raw, spec.wanted, "type the value again")
    if spec.type in {"int", "number"}:
        return read_number(raw, spec, comma_decimals=habits.comma_decimals)
    if spec.type == "date":
        return read_date(raw, spec, today=habits.today)
    return {"yes/no": read_yes_no, "choice": read_choice, "text": read_text}[spec.type](raw, spec)


def _missing(spec: FieldSpec) -> Cell:
    return Cell(None, (
        Remark("error", "missing", "nothing", spec.wanted, "this column may not be blank: "
               "fill it in"),
    ))


def _no_result(spec: FieldSpec) -> Cell:
    return Cell(None, (
        Remark("error", "formula-without-result", "a formula without a stored result",
               spec.wanted, "copy the cell and paste it back as a value"),
    ))


__all__ = ["Cell", "Habits", "Remark", "as_text", "read_cell"]
