"""Dates of an old sheet: the order of day and month is stated by a person, never guessed.

A cell that fits only the other order is a problem too: it may mean that the whole block was
written the other way round.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Any

from registry.intake.cell import Cell, fault
from registry.intake.cell_dates import read_date
from registry.old_sheets.mapping.statements import DateOrder
from registry.problems.cell_text import clean, plain_dashes
from registry.schema import FieldSpec

_CLOCK = re.compile(r"[T ]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?$")
_FIGURES = re.compile(r"(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4}|'?\d{2})")
_WORD_SHORT = re.compile(r"(\d{1,2}(?:st|nd|rd|th)?[ .\-/]*[a-z]{3,9}\.?[ ,.\-/]*)'?(\d{2})")
_YEAR = re.compile(r"\d{4}")
_MONTH_YEAR = re.compile(r"(\d{1,2})[-/. ](\d{4})|(\d{4})[-/. ](\d{1,2})")
_WORD_YEAR = re.compile(r"([a-z]{3,9})\.?[ \-/]*(\d{4})")


@dataclass(frozen=True)
class DateRule:
    """What the mapping says of a column's dates."""

    order: DateOrder | None = None
    short_years_from: int | None = None
    parts: bool = False


@dataclass(frozen=True)
class DatedCell:
    """A date cell, and how precisely the day is known ("day", "month", "year")."""

    cell: Cell
    known_to: str | None = None


def read_stated_date(raw: Any, spec: FieldSpec, rule: DateRule, today: dt.date) -> DatedCell:
    """A cell of a date field under the mapping's statements."""
    if rule.parts and (part := _part(raw)) is not None:
        day, known_to = part
        return DatedCell(read_date(day, spec, today=today), known_to)
    cell = _whole(raw, spec, rule, today)
    return DatedCell(cell, "day" if cell.value is not None else None)


def _whole(raw: Any, spec: FieldSpec, rule: DateRule, today: dt.date) -> Cell:
    if not isinstance(raw, str):
        return read_date(raw, spec, today=today)
    text = _CLOCK.sub("", plain_dashes(clean(raw))).casefold()
    if match := _FIGURES.fullmatch(text):
        return _figures(raw, match, spec, rule, today)
    if (match := _WORD_SHORT.fullmatch(text)) and rule.short_years_from is not None:
        year = _full_year(match[2], rule.short_years_from)
        return _again(raw, f"{match[1]}{year}", spec, today)
    return read_date(raw, spec, today=today)


def _figures(
    raw: str, match: re.Match[str], spec: FieldSpec, rule: DateRule, today: dt.date
) -> Cell:
    first, second, year = int(match[1]), int(match[2]), match[3].lstrip("'")
    if len(year) == 2:
        if rule.short_years_from is None:
            return read_date(raw, spec, today=today)
        year = str(_full_year(year, rule.short_years_from))
    if rule.order is None:
        return _again(raw, f"{first}/{second}/{year}", spec, today)
    day, month = (first, second) if rule.order == "day first" else (second, first)
    if month > 12 >= day:
        return fault(
            "date-order", raw, spec.wanted,
            f"the mapping says {rule.order} here, and this date fits only the other order: look "
            "it up, and check the dates around it",
        )
    return _again(raw, f"{year}-{month:02d}-{day:02d}", spec, today)


def _again(raw: str, text: str, spec: FieldSpec, today: dt.date) -> Cell:
    """`text` read as a date; what is said about it quotes the cell itself."""
    cell = read_date(text, spec, today=today)
    if not cell.faulty:
        return cell
    first = cell.remarks[0]
    return fault(first.rule, raw, spec.wanted, first.mend)


def _full_year(short: str, first: int) -> int:
    """The year with these last two figures among the hundred from `first` on."""
    return first + (int(short) - first) % 100


def _part(raw: Any) -> tuple[dt.date, str] | None:
    """The middle of a year or month, and which of them it is; None for anything else."""
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        raw = f"{raw:.0f}" if float(raw).is_integer() else ""
    if not isinstance(raw, str):
        return None
    text = plain_dashes(clean(raw)).casefold()
    if _YEAR.fullmatch(text) and 1900 <= int(text) <= 2199:
        return dt.date(int(text), 7, 1), "year"
    if match := _MONTH_YEAR.fullmatch(text):
        month, year = (match[1], match[2]) if match[1] else (match[4], match[3])
        return _middle(int(year), int(month))
    if match := _WORD_YEAR.fullmatch(text):
        for number in range(1, 13):
            name = dt.date(2000, number, 1).strftime("%B").casefold()
            if name.startswith(match[1]):
                return _middle(int(match[2]), number)
    return None


def _middle(year: int, month: int) -> tuple[dt.date, str] | None:
    if not (1900 <= year <= 2199 and 1 <= month <= 12):
        return None
    return dt.date(year, month, 15), "month"
