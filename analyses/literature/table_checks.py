"""Checks of a table of published series: every problem in a sentence, all of them at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from analyses.literature.codes import CODES
from registry.problems.sentence_error import SentenceError

COLUMNS = (
    "id", "authors", "year", "journal", "identifier", "unit", "code", "events", "total",
    "agent_group", "as_printed", "seen",
)
"""The columns of a table of published series."""
COHORT = "cohort"
"""A column that may be left out: lines of one cohort count some of the same patients."""
SUBGROUP = "subgroup"
"""A column that may be left out: the grade or period of a line of a paper that is entered split."""
PERSON_TIME = "patient-years"
UNITS = ("patient", "lesion", "session", "injection", "catheter", PERSON_TIME)
NEEDED = ("id", "authors", "year", "journal", "identifier", "unit", "code")
FIRST_ROW = 2
"""Row of the sheet in which the first line stands, below the headings."""


class SeriesError(SentenceError, ValueError):
    """A table of published series that cannot be used; the message says all that is wrong."""


def problems_of(rows: Sequence[Mapping[str, str]]) -> list[str]:
    """Every problem of every line, in order: row, column, what was found and what is wanted."""
    found = [f"Row {number}, {words}" for number, row in enumerate(rows, start=FIRST_ROW)
             for words in _row_problems(row)]
    return found + list(_repeated(row["id"] for row in rows))


def _row_problems(row: Mapping[str, str]) -> Iterator[str]:
    for name in NEEDED:
        if not row[name]:
            yield f"column {name}: is empty; it is needed."
    if row["unit"] and row["unit"] not in UNITS:
        yield f"column unit: is {row['unit']!r}; one of {', '.join(UNITS)} is wanted."
    if row["code"] and row["code"] not in CODES:
        yield f"column code: is {row['code']!r}; one of {', '.join(CODES)} is wanted."
    wrong = [name for name in ("year", "events", "total")
             if row[name] and not row[name].isdecimal()]
    for name in wrong:
        yield f"column {name}: is {row[name]!r}; a whole number is wanted, or nothing."
    if not wrong:
        yield from _count_problems(row)


def _count_problems(row: Mapping[str, str]) -> Iterator[str]:
    if row["events"] and not row["total"]:
        yield "column total: is empty beside a count of events; give both or neither."
    elif row["total"] and int(row["total"]) == 0:
        yield "column total: is 0; a series counts at least one unit."
    elif (row["events"] and row["unit"] != PERSON_TIME
          and int(row["events"]) > int(row["total"])):
        yield f"column events: is {row['events']}, more than the total of {row['total']}."
    elif not row["events"] and not row["as_printed"]:
        yield "column as_printed: is empty; without counts, say what the paper prints."


def _repeated(ids: Iterable[str]) -> Iterator[str]:
    rows: dict[str, list[int]] = {}
    for number, id in enumerate(ids, start=FIRST_ROW):
        rows.setdefault(id, []).append(number)
    for id, numbers in rows.items():
        if id and len(numbers) > 1:
            yield (f"Rows {', '.join(map(str, numbers))}, column id: all are {id!r}; every line "
                   "needs an id of its own.")
