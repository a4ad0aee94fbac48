"""Who stays out, and why: a fault keeps its patient out whole, in every table.

A row whose study code cannot be read belongs to nobody and is held by itself, as is a faulty
row of a table without patients.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from registry.intake.cell_words import may_repeat
from registry.intake.convert import Converted, RowProblem
from registry.privacy.contents import identifying_content
from registry.privacy.free_text import points_to_person
from registry.problems.cell_text import as_text, clean
from registry.problems.problem import Place, Problem
from registry.schema import TABLES, Patients, TableSpec
from registry.store.batch import HeldRow
from registry.store.held_rows import IN_ORDER

NOT_KEPT = "(not kept: it might name a person)"


@dataclass(frozen=True)
class Sorted:
    """Rows that go in, with their places, and rows that stay out."""

    tables: dict[str, pd.DataFrame]
    places: dict[str, list[Place]]
    held: list[HeldRow]


def sort_out(converted: Mapping[str, Converted], problems: list[RowProblem]) -> Sorted:
    """Part the rows of a source by its problems. Every row ends up on exactly one side."""
    by_row: dict[tuple[str, int], list[Problem]] = {}
    first: dict[str, Problem] = {}
    for item in problems:
        problem = item.problem
        if problem.severity != "error":
            continue
        if item.row is not None:
            by_row.setdefault((problem.table, item.row), []).append(problem)
        if problem.patient_id:
            first.setdefault(problem.patient_id, problem)
    result = Sorted({}, {}, [])
    for name, spec in TABLES.items():
        table = converted.get(name)
        result.tables[name] = spec.empty() if table is None else table.frame
        result.places[name] = []
        if table is not None:
            _part(table, by_row, first, result)
    return result


def _part(
    table: Converted, by_row: Mapping[tuple[str, int], list[Problem]],
    first: Mapping[str, Problem], result: Sorted,
) -> None:
    name = table.table.name
    kept: list[int] = []
    for row, patient in enumerate(_patients(table)):
        problems = by_row.get((name, row), [])
        if problems or patient in first:
            result.held.append(_held(table, row, patient, problems, first))
        else:
            kept.append(row)
    result.tables[name] = table.frame.iloc[kept].reset_index(drop=True)
    result.places[name] = [table.place(row) for row in kept]


def _patients(table: Converted) -> list[str | None]:
    if Patients.patient_id not in table.frame:
        return [None] * len(table.frame)
    codes = table.frame[Patients.patient_id].astype(object)
    return [None if pd.isna(code) else str(code) for code in codes]


def _held(
    table: Converted, row: int, patient: str | None, problems: list[Problem],
    first: Mapping[str, Problem],
) -> HeldRow:
    raw = table.raw_cells(row)
    marks: dict[str, str] = {}
    for problem in problems:
        if problem.field:
            marks[problem.field] = "\n".join(
                filter(None, (marks.get(problem.field), _reason(problem)))
            )
    reasons = tuple(_reason(problem, problem.column) for problem in problems)
    if not reasons and patient:
        reasons = (_waits(patient, first[patient]),)
    return HeldRow(
        table.table.name, patient, table.place(row), _safe_values(table.table, raw), reasons,
        _to_return(table, row, raw), marks,
    )


def _to_return(table: Converted, row: int, raw: dict[str, Any]) -> dict[str, Any]:
    """The row as it is handed back: read values, and what could not be read as it stood."""
    unread = table.unread_fields_of(row)
    return {
        name: _nameless(cell) if name in unread else table.frame[name].iat[row]
        for name, cell in raw.items()
    }


def _nameless(cell: Any) -> Any:
    """A cell as it is handed back: blank where its content looks like a direct identifier."""
    return None if identifying_content(cell) else cell


def _reason(problem: Problem, column: str = "") -> str:
    words = f"found {problem.found}; wanted: {problem.wanted}. To mend: {problem.mend}."
    return f"{column}: {words}" if column else words[:1].upper() + words[1:]


def _waits(patient: str, problem: Problem) -> str:
    where = str(problem.place) if problem.place else "a row already in the registry"
    return f"{IN_ORDER}; it waits with {patient}, whose fault is at {where}."


def _safe_values(table: TableSpec, cells: Mapping[str, Any]) -> dict[str, str]:
    """The row's text by field, without what might name a person."""
    values: dict[str, str] = {}
    for name, raw in cells.items():
        spec = table.by_name[name]
        text = clean(as_text(raw))
        if text:
            right = not spec.pattern or re.fullmatch(spec.pattern, text)
            safe = (right or may_repeat(text, spec)) and not identifying_content(raw)
            safe = safe and not (spec.free and points_to_person(text))
            values[name] = text if safe else NOT_KEPT
    return values
