"""A cell → a day.

Year first, or a month in letters, can be read in one way only and is taken. Day and month in
figures are taken where one of them is above 12 or both are the same; otherwise nobody can tell,
and the cell is asked about.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from registry.intake.cell import Cell, Remark, fault, shown
from registry.problems.cell_text import clean, plain_dashes
from registry.schema import FieldSpec

FIRST_YEAR, LAST_YEAR = 1900, 2199
# Before this the treatment did not exist; such a date is asked about, not refused.
UNLIKELY_BEFORE = dt.date(1950, 1, 1)

_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)
_CLOCK = re.compile(r"[T ]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})?$")
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_RUN_TOGETHER = re.compile(r"(\d{4})(\d{2})(\d{2})")
_DAY_WORD = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ .\-/]*([a-z]{3,9})\.?[ ,.\-/]*(\d{4})")
_WORD_DAY = re.compile(r"([a-z]{3,9})\.?[ \-]*(\d{1,2})(?:st|nd|rd|th)?,?[ \-]+(\d{4})")
_FIGURES = re.compile(r"(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4})")
_SHORT_YEAR = re.compile(r"\d{1,2}[-/. ]+(\d{1,2}|[a-z]{3,9})[-/. ]+'?\d{2}")
_PART = re.compile(r"\d{4}|\d{4}[-/.]\d{1,2}|\d{1,2}[-/.]\d{4}|[a-z]{3,9}\.?[ \-]*\d{4}")

# A spreadsheet counts days from 1899-12-30; only numbers of a plausible year are explained so.
_DAY_ZERO = dt.date(1899, 12, 30)
_DAY_NUMBERS = range(18264, 73051)


def read_date(raw: Any, spec: FieldSpec, *, today: dt.date) -> Cell:
    """A cell of a date field, as a `datetime.date`; a clock time in it is left out.

    Dates after `today` or before 1950 are taken with a query.
    """
    if isinstance(raw, dt.datetime):
        return _checked(raw.date(), raw, spec, today)
    if isinstance(raw, dt.date):
        return _checked(raw, raw, spec, today)
    if isinstance(raw, str):
        return _from_text(raw, spec, today)
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return _from_number(float(raw), raw, spec, today)
    return fault("not-a-date", raw, spec.wanted, "type the day as year-month-day")


def _from_text(raw: str, spec: FieldSpec, today: dt.date) -> Cell:
    text = _CLOCK.sub("", plain_dashes(clean(raw))).casefold()
    if figures := _FIGURES.fullmatch(text):
        first, second, year = (int(part) for part in figures.groups())
        return _from_figures(raw, first, second, year, spec, today)
    if _SHORT_YEAR.fullmatch(text):
        return fault(
            "not-a-date", raw, spec.wanted,
            "the year has two figures: write the day as year-month-day with four for the year",
        )
    parts = _parts(text)
    if parts:
        return _from_parts(raw, *parts, spec, today)
    if _PART.fullmatch(text):
        return fault("incomplete-date", raw, spec.wanted, _mend_part(spec))
    return fault("not-a-date", raw, spec.wanted, "write the day as year-month-day")


def _parts(text: str) -> tuple[int, int, int] | None:
    """Year, month, day where the text can be read in one way only."""
    if match := _YEAR_FIRST.fullmatch(text) or _RUN_TOGETHER.fullmatch(text):
        return int(match[1]), int(match[2]), int(match[3])
    if match := _DAY_WORD.fullmatch(text):
        day, word, year = match.groups()
    elif match := _WORD_DAY.fullmatch(text):
        word, day, year = match.groups()
    else:
        return None
    month = _month(word)
    return (int(year), month, int(day)) if month else None


def _month(word: str) -> int | None:
    """1–12 for an English month, in full or cut to three letters or more."""
    for number, name in enumerate(_MONTHS, start=1):
        if name.startswith(word) or word == "sept" == name[:4]:
            return number
    return None


def _from_figures(
    raw: str, first: int, second: int, year: int, spec: FieldSpec, today: dt.date
) -> Cell:
    """Day and month in figures: taken only where the order cannot matter or is plain."""
    if first > 12 or first == second:
        return _from_parts(raw, year, second, first, spec, today)
    if second > 12:
        return _from_parts(raw, year, first, second, spec, today)
    return fault(
        "ambiguous-date", raw, spec.wanted,
        f"day and month could be either way round: write {year:04d}-{first:02d}-{second:02d} or "
        f"{year:04d}-{second:02d}-{first:02d}, whichever is meant",
    )


def _from_parts(
    raw: Any, year: int, month: int, day: int, spec: FieldSpec, today: dt.date
) -> Cell:
    try:
        found = dt.date(year, month, day)
    except ValueError:
        return fault("impossible-date", raw, spec.wanted,
                     "there is no such day: look the date up and type it as year-month-day")
    return _checked(found, raw, spec, today)


def _from_number(number: float, raw: Any, spec: FieldSpec, today: dt.date) -> Cell:
    if match := _RUN_TOGETHER.fullmatch(f"{number:.0f}" if number.is_integer() else ""):
        return _from_parts(raw, int(match[1]), int(match[2]), int(match[3]), spec, today)
    mend = "type the day as year-month-day"
    if int(number) in _DAY_NUMBERS:
        meant = _DAY_ZERO + dt.timedelta(days=int(number))
        mend += f" (as a spreadsheet's own day number it would be {meant}, counted from 1900)"
    return fault("not-a-date", f"{number:g}", spec.wanted, mend)


def _checked(found: dt.date, raw: Any, spec: FieldSpec, today: dt.date) -> Cell:
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        return fault("impossible-date", raw, spec.wanted,
                     "look the year up and type the day as year-month-day")
    if UNLIKELY_BEFORE <= found <= today:
        return Cell(found)
    when = "after today" if found > today else f"before {UNLIKELY_BEFORE.year}"
    return Cell(found, (
        Remark("query", "unlikely-date", f"{shown(raw)}, which is {when}", spec.wanted,
               "check the year"),
    ))


def _mend_part(spec: FieldSpec) -> str:
    return (
        "give a whole day; where only the month or the year is known, give the middle of it "
        "and say so under the column that tells how precisely the date is known, if there is one"
    )
