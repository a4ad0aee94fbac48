"""How many cells of a column a reading would convert, and which it would not."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

from registry.intake.cells import Habits
from registry.old_sheets.mapping.cell_reader import CellReader, Reading
from registry.old_sheets.mapping.stated_dates import DateRule
from registry.old_sheets.mapping.statements import ColumnPlan
from registry.privacy.contents import identifying_content

MOST_EXAMPLES, LONGEST_EXAMPLE = 4, 30
_LATER = dt.date(9999, 12, 31)


@dataclass(frozen=True)
class Fit:
    """How a reading fits a column.

    `looks` is the share of cells that could be meant for the field (a date in either order, a
    range by either end); `converts` the share that the statements as they stand convert;
    `examples` a few cells that would not, none that might name a person.
    """

    plan: ColumnPlan
    cells: int
    looks: float
    converts: float
    examples: tuple[str, ...]


def fit(plan: ColumnPlan, values: Counter[Any], blanks: frozenset[str]) -> Fit:
    """Try a reading on the cells of a column (value → how often it stands there)."""
    strict = CellReader(plan, Habits(_LATER), blanks, DateRule())
    open_plan = replace(plan, range="higher")
    lenient = [
        CellReader(open_plan, Habits(_LATER), blanks, DateRule(order, 1950, True))
        for order in ("day first", "month first")
    ]
    cells = looks = converts = 0
    missed: list[Any] = []
    for value, count in values.items():
        reading = strict.read(value)
        if reading.blank_by:
            continue
        cells += count
        if _good(reading):
            converts += count
            looks += count
            continue
        missed.append(value)
        looks += count * any(_good(reader.read(value)) for reader in lenient)
    share = (looks / cells, converts / cells) if cells else (0.0, 0.0)
    return Fit(plan, cells, *share, _examples(missed))


def _good(reading: Reading) -> bool:
    return bool(reading.given) and not reading.faulty


def _examples(values: list[Any]) -> tuple[str, ...]:
    from registry.problems.cell_text import as_text, clean

    found: list[str] = []
    for value in values:
        text = clean(as_text(value))
        if text and len(text) <= LONGEST_EXAMPLE and not identifying_content(value):
            found.append(text)
        if len(found) == MOST_EXAMPLES:
            break
    return tuple(found)
