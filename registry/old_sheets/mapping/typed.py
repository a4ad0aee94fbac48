"""Rows of a mapped sheet → typed tables with their problems, as the rest of the intake has them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from registry.intake.cells import Habits, read_cell
from registry.intake.columns_named import Columns
from registry.intake.convert import Converted, RowProblem
from registry.intake.sheet import row_label
from registry.old_sheets.mapping.assemble import OneRow
from registry.old_sheets.mapping.feeds import feeds_of
from registry.old_sheets.mapping.sheet_rows import SheetRows
from registry.old_sheets.mapping.statements import Constant, Target
from registry.old_sheets.mapping.statements import Mapping as Plan
from registry.problems.problem import Place, Problem
from registry.schema import TABLES, FieldSpec, Patients, TableSpec
from registry.schema.canonical import plain_values

# Said once for a column, with how often it occurs.
_ONCE_A_COLUMN = {"decimal-comma": "a decimal comma"}
_LEFT_BLANK = "nothing"


@dataclass
class Assembled(Converted):
    """A table read through a mapping."""

    rows: list[OneRow] = field(default_factory=list)
    sheet_rows: SheetRows | None = None

    def raw_cells(self, row: int) -> dict[str, Any]:
        """A row's fields as their cells stood in the source; stated values as they are."""
        found = {name: self._raw(self.rows[row], name) for name in self.table.columns}
        return {name: raw for name, raw in found.items() if raw is not None}

    def _raw(self, row: OneRow, name: str) -> Any:
        origin = None if name == Patients.patient_id else row.origin(name)
        if origin is None or self.sheet_rows is None:
            return row.value(name)
        at, column, part = origin
        if column in self.sheet_rows.readers:
            for given in self.sheet_rows.reading(at, column).given:
                if given.target == Target(self.table.name, name) and given.part == part:
                    return given.raw
        return row.value(name)


def fed_fields(plan: Plan, table: str) -> set[str]:
    """The fields of a table that the mapping feeds; its keys are always among them."""
    spec = TABLES[table]
    fed = {target.field for c in plan.columns for target in feeds_of(c) if target.table == table}
    fed |= {c.target.field for c in plan.constants if c.target.table == table}
    fed |= {name for c in plan.columns for name, _ in c.numbers
            if any(t.table == table for t in c.targets) and name in spec.columns}
    return fed | set(spec.key)


def typed_table(
    spec: TableSpec, rows: list[OneRow], sheet_rows: SheetRows, habits: Habits,
    existing: pd.DataFrame | None,
) -> Assembled:
    """The rows as a typed table, with every problem of its cells and every missing field."""
    plan = sheet_rows.bound.mapping
    for constant in plan.constants:
        if constant.target.table == spec.name:
            _state(constant, rows, habits)
    _keep_registered(spec, rows, plan, existing)
    data = {name: [row.value(name) for row in rows] for name in spec.columns}
    frame = spec.typed(pd.DataFrame(data, index=range(len(rows)), dtype=object))
    fed = fed_fields(plan, spec.name)
    absent = tuple(name for name in spec.columns if name not in fed)
    made = Assembled(
        spec, sheet_rows.bound.sheet, Columns(sheet_rows.bound.first_row - 1, {}, {}, absent),
        frame, [row.position for row in rows], rows=rows, sheet_rows=sheet_rows,
    )
    made.problems = [*_cell_problems(made), *_missing(made, fed)]
    made.problems.sort(key=lambda item: -1 if item.row is None else item.row)
    return made


def _state(constant: Constant, rows: list[OneRow], habits: Habits) -> None:
    """Give every row of a table the constants that are meant for it."""
    value = read_cell(constant.value, constant.target.spec, habits).value
    for row in rows:
        if all(row.value(name) == number for name, number in constant.numbers):
            row.stated.setdefault(constant.target.field, value)


def _keep_registered(
    spec: TableSpec, rows: list[OneRow], plan: Plan, existing: pd.DataFrame | None
) -> None:
    """A field that the sheet does not have says nothing: the registered value stands."""
    if existing is None or existing.empty:
        return
    fed = fed_fields(plan, spec.name)
    columns = {f.name: plain_values(existing[f.name], f.type) for f in spec.fields}
    known = {key: n for n, key in enumerate(zip(*(columns[k] for k in spec.key), strict=True))}
    for row in rows:
        at = known.get(tuple(row.value(name) for name in spec.key))
        if at is not None:
            for name in spec.columns:
                if name not in fed:
                    row.stated.setdefault(name, columns[name][at])


def _cell_problems(made: Assembled) -> Iterator[RowProblem]:
    once: dict[tuple[int, str], list[tuple[int, Any]]] = {}
    for number, row in enumerate(made.rows):
        for fault in row.faults:
            if fault.remark.rule in _ONCE_A_COLUMN:
                once.setdefault((fault.column, fault.remark.rule), []).append((number, fault))
            else:
                yield RowProblem(number, _problem(made, number, fault.field, fault.remark,
                                                  fault.row, fault.column))
    for (column, rule), group in once.items():
        number, fault = group[0]
        cells = "1 cell" if len(group) == 1 else f"{len(group)} cells"
        problem = _problem(made, number, fault.field, fault.remark, fault.row, column)
        found = f"{_ONCE_A_COLUMN[rule]} in {cells}, first {problem.found}"
        yield RowProblem(None, Problem(
            problem.severity, rule, problem.table, problem.field, None, problem.place, found,
            problem.wanted, problem.mend,
        ))


def _problem(
    made: Assembled, number: int, name: str, remark: Any, sheet_row: int, column: int
) -> Problem:
    heading = made.sheet_rows.bound.headings.get(column, "") if made.sheet_rows else ""
    return Problem(
        remark.severity, remark.rule, made.table.name, name, _patient(made, number),
        Place(made.sheet.name, row_label(sheet_row)), f'{remark.found} under "{heading}"',
        remark.wanted, remark.mend,
    )


def _missing(made: Assembled, fed: set[str]) -> Iterator[RowProblem]:
    """Required fields without a value: the patient stays out, whole, until it is filled in."""
    required = [spec for spec in made.table.fields if spec.required]
    for number, row in enumerate(made.rows):
        faulty = row.faulty
        for spec in required:
            if row.value(spec.name) is None and spec.name not in faulty:
                yield RowProblem(number, Problem(
                    "error", "missing", made.table.name, spec.name, _patient(made, number),
                    made.place(number), _LEFT_BLANK, spec.wanted, _mend(spec, fed),
                ))


def _mend(spec: FieldSpec, fed: set[str]) -> str:
    if spec.name == Patients.patient_id:
        return "give the row the patient's number, or leave the row out in the mapping"
    if spec.name in fed:
        return "fill it in, in the sheet or in the returned workbook"
    return (
        "the mapping has no column or constant for it: add one, or fill it in in the returned "
        "workbook"
    )


def _patient(made: Assembled, number: int) -> str | None:
    code = made.rows[number].key.get(Patients.patient_id)
    return None if code is None else str(code)


__all__ = ["Assembled", "fed_fields", "typed_table"]
