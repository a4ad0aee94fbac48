"""A source → a batch: every cell read, every rule asked, patients with a fault kept out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from registry.intake.asides import asides
from registry.intake.cells import Habits
from registry.intake.columns_named import find_columns
from registry.intake.convert import Converted, RowProblem, convert
from registry.intake.kept_whole import sort_out
from registry.intake.names import nearest
from registry.intake.sheet import Progress, Source, silent
from registry.intake.source import check_tables, open_source
from registry.intake.union import rule_problems
from registry.problems.problem import Place, Problem, SourceError
from registry.schema import REQUIRED_TABLES, TABLES
from registry.store.batch import Batch


def read_source(
    path: str | Path, *, existing: Mapping[str, pd.DataFrame] | None = None,
    today: dt.date | None = None, progress: Progress | None = None,
) -> Batch:
    """Read an entry workbook (.xlsx) or a folder of CSV files and check everything in it.

    `existing` are the tables already registered (typed), so that a child row may find its
    parent there; where there are patients already, a source may bring any table alone. `today`
    is the day after which a date is asked about (this day unless given). Nothing is written. Raises
    SourceError where the file as a whole cannot be read; bad cells and rows never raise, they
    are the batch's problems and held rows.
    """
    watch = progress or silent
    source = open_source(Path(path), progress=watch)
    if not existing or existing["patients"].empty:
        check_tables(source)
    return check_source(source, existing or {}, today or dt.date.today(), watch)


def check_source(
    source: Source, existing: Mapping[str, pd.DataFrame], today: dt.date,
    watch: Progress = silent,
) -> Batch:
    """The batch of a source whose sheets are found, whatever kind of source it is.

    Raises SourceError where the headings of a sheet cannot be trusted or there are no rows.
    """
    converted, absent_tables = _convert_all(source, today, watch)
    if not any(len(table.frame) for table in converted.values()):
        raise SourceError(
            f"{source.name} holds no rows: every table is blank below its headings. "
            + _first(existing)
        )
    watch("checking the rows", 0, 1)
    problems = [item for table in converted.values() for item in (*asides(table), *table.problems)]
    problems += rule_problems(converted, existing)
    problems = _ordered(problems + _other_sheets(source))
    parted = sort_out(converted, problems)
    watch("checking the rows", 1, 1)
    return Batch(
        source.id, source.kind, source.name, source.sha256, parted.tables, parted.places,
        [item.problem for item in problems], parted.held,
        absent_columns={n: list(t.columns.absent) for n, t in converted.items()
                        if t.columns.absent and len(t.frame)},
        absent_tables=absent_tables,
        rows_read={name: len(converted[name].frame) if name in converted else 0
                   for name in TABLES},
        notes=[*source.notes, *(note for s in source.sheets.values() for note in s.notes),
               *(note for table in converted.values() for note in table.columns.notes)],
    )


def _first(existing: Mapping[str, pd.DataFrame]) -> str:
    """What to fill in: a registry without patients begins with the tables that are required."""
    if existing and len(existing["patients"]):
        return "Fill in a row of any table."
    return f"Fill in at least {', '.join(TABLES[name].label for name in REQUIRED_TABLES)}."


def _convert_all(
    source: Source, today: dt.date, watch: Progress
) -> tuple[dict[str, Converted], list[str]]:
    """Every table that is there, read; and the names of those that are not.

    All faults of headings are raised together.
    """
    converted: dict[str, Converted] = {}
    faults = _misspelt_sheets(source)
    absent = [name for name in TABLES if name not in source.sheets]
    for done, (name, sheet) in enumerate(source.sheets.items()):
        watch("reading the cells", done, len(source.sheets))
        try:
            columns = find_columns(sheet, TABLES[name])
        except SourceError as fault:
            if name in REQUIRED_TABLES or _has_rows(sheet.rows):
                faults += fault.sentences
            else:
                absent.append(name)
            continue
        habits = Habits(today, sheet.blanks)
        converted[name] = convert(sheet, TABLES[name], columns, habits)
    if faults:
        raise SourceError(*faults)
    watch("reading the cells", len(source.sheets), len(source.sheets))
    return {name: converted[name] for name in TABLES if name in converted}, absent


def _has_rows(rows: list[list[object]]) -> bool:
    """Whether a sheet has more than one row with something in it."""
    return sum(any(cell not in (None, "") for cell in row) for row in rows) > 1


def _misspelt_sheets(source: Source) -> list[str]:
    """Sheets that look like a table which is not there: their rows would be lost."""
    absent = {TABLES[name].label: name for name in TABLES if name not in source.sheets}
    faults = []
    for sheet in source.unread_sheets:
        near = nearest(Path(sheet).stem, [*absent, *absent.values()])
        if near:
            faults.append(
                f'{source.name}: found "{sheet}", which is no table of this registry but looks '
                f'like "{near}". Correct its name; if it is something else, give it a name that '
                "is unlike."
            )
    return faults


def _other_sheets(source: Source) -> list[RowProblem]:
    return [
        RowProblem(None, Problem(
            "query", "unknown-sheet", "", None, None, Place(name),
            "a sheet or file that is no table of this registry; it was not read",
            "the sheets of a blank workbook",
            "nothing, if it holds notes of your own",
        ))
        for name in source.unread_sheets
    ]


def _ordered(problems: list[RowProblem]) -> list[RowProblem]:
    """By table, whole sheets first, then row by row; what was found first stays first."""
    order = {name: number for number, name in enumerate(TABLES)}
    return sorted(problems, key=lambda item: (
        order.get(item.problem.table, -1), -1 if item.row is None else item.row,
    ))
