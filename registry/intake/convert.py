"""A sheet → the rows of a table, every cell read and every fault noted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd

from registry.intake.cell import Cell, Remark, is_blank
from registry.intake.cell_numbers import writes_decimal_comma
from registry.intake.cells import Habits, read_cell
from registry.intake.columns_named import Columns
from registry.intake.sheet import Sheet, row_label
from registry.problems.problem import Place, Problem
from registry.schema import FieldSpec, Patients, TableSpec

# Said once a column with a count: a whole column written so would bury what needs an answer.
_ONCE_A_COLUMN = {
    "decimal-comma": "a decimal comma",
}


@dataclass(frozen=True)
class RowProblem:
    """A problem and the row (label in the frame) it is about; None for the whole sheet."""

    row: int | None
    problem: Problem


@dataclass
class Converted:
    """A table read from a sheet.

    `frame` is typed, its index counts the rows that were not blank from 0, and faulty cells
    are blank in it. `positions` gives each row's zero-based place in the sheet.
    """

    table: TableSpec
    sheet: Sheet
    columns: Columns
    frame: pd.DataFrame
    positions: list[int]
    problems: list[RowProblem] = field(default_factory=list)

    def place(self, row: int) -> Place:
        """Where a row stands, as the spreadsheet counts it."""
        return Place(self.sheet.name, row_label(self.positions[row]))

    def raw_cells(self, row: int) -> dict[str, Any]:
        """A row's cells as they stood in the source, by field name."""
        position = self.positions[row]
        return {
            name: self.sheet.cell(position, column)
            for name, column in self.columns.fields.items()
        }

    @cached_property
    def unread_fields(self) -> dict[int, set[str]]:
        """Row → fields whose cell could not be taken, or is blank and may not be."""
        unread: dict[int, set[str]] = {}
        for item in self.problems:
            if item.row is not None and item.problem.severity == "error" and item.problem.field:
                unread.setdefault(item.row, set()).add(item.problem.field)
        return unread

    def unread_fields_of(self, row: int) -> set[str]:
        """The fields of one row whose cell could not be taken."""
        return self.unread_fields.get(row, set())


def convert(sheet: Sheet, table: TableSpec, columns: Columns, habits: Habits) -> Converted:
    """Read every row of `sheet` below its headings; nothing is raised for a bad cell."""
    positions = _filled_rows(sheet, table, columns, habits)
    if _has_decimal_comma(sheet, table, columns, positions):
        habits = Habits(habits.today, habits.blanks, comma_decimals=True)
    values: dict[str, list[Any]] = {}
    remarks: list[tuple[int, FieldSpec, Remark]] = []
    for spec in table.fields:
        if spec.name in columns.fields:
            values[spec.name] = list(
                _read_column(sheet, spec, columns.fields[spec.name], positions, habits, remarks)
            )
    frame = table.typed(pd.DataFrame(values, index=range(len(positions)), dtype=object))
    converted = Converted(table, sheet, columns, frame, positions)
    converted.problems += [*_cell_problems(converted, remarks), *_row_problems(converted)]
    converted.problems.sort(key=lambda item: -1 if item.row is None else item.row)
    return converted


def _filled_rows(
    sheet: Sheet, table: TableSpec, columns: Columns, habits: Habits
) -> list[int]:
    """Zero-based sheet rows below the headings with something in a known column.

    In a table of offered rows the key stands there already, and says nothing by itself.
    """
    wanted = sorted(column for name, column in columns.fields.items()
                    if not (table.offered and name in table.key))
    return [
        number
        for number in range(columns.heading_row + 1, len(sheet.rows))
        if any(
            not is_blank(sheet.rows[number][c], habits.blanks)
            for c in wanted if c < len(sheet.rows[number])
        )
        or number in sheet.too_long
    ]


def _has_decimal_comma(
    sheet: Sheet, table: TableSpec, columns: Columns, positions: list[int]
) -> bool:
    numeric = [
        columns.fields[spec.name] for spec in table.fields
        if spec.type in {"int", "number"} and spec.name in columns.fields
    ]
    return any(writes_decimal_comma(sheet.cell(p, c)) for c in numeric for p in positions)


def _read_column(
    sheet: Sheet, spec: FieldSpec, column: int, positions: list[int], habits: Habits,
    remarks: list[tuple[int, FieldSpec, Remark]],
) -> Iterator[Any]:
    """The values of a column; equal cells are read once."""
    known: dict[tuple[type, Any], Cell] = {}
    for row, position in enumerate(positions):
        raw = sheet.cell(position, column)
        key = (type(raw), raw)
        cell = known.get(key)
        if cell is None:
            cell = known[key] = read_cell(raw, spec, habits)
        remarks.extend((row, spec, remark) for remark in cell.remarks)
        yield cell.value


def _cell_problems(
    converted: Converted, remarks: list[tuple[int, FieldSpec, Remark]]
) -> Iterator[RowProblem]:
    together: dict[tuple[str, str], list[tuple[int, FieldSpec, Remark]]] = {}
    for row, spec, remark in remarks:
        if remark.rule in _ONCE_A_COLUMN:
            together.setdefault((spec.name, remark.rule), []).append((row, spec, remark))
        else:
            yield RowProblem(row, _problem(converted, row, spec, remark))
    for (name, rule), group in together.items():
        row, _, first = group[0]
        cells = "1 cell" if len(group) == 1 else f"{len(group)} cells"
        found = f"{_ONCE_A_COLUMN[rule]} in {cells}, first {first.found}"
        yield RowProblem(None, Problem(
            first.severity, rule, converted.table.name, name, None, converted.place(row),
            found, first.wanted, first.mend,
        ))


def _problem(converted: Converted, row: int, spec: FieldSpec, remark: Remark) -> Problem:
    mend = remark.mend
    position, column = converted.positions[row], converted.columns.fields[spec.name]
    if remark.rule == "missing":
        for block in converted.sheet.merged:
            if block.holds(position, column):
                mend = f"the cell is part of the merged cells {block}: undo the merging, fill it in"
    return Problem(
        remark.severity, remark.rule, converted.table.name, spec.name,
        patient_of(converted, row), converted.place(row), remark.found, remark.wanted, mend,
    )


def _row_problems(converted: Converted) -> Iterator[RowProblem]:
    """Rows of a CSV file with more cells than headings: none of their cells can be trusted."""
    headings = len(converted.sheet.rows[converted.columns.heading_row])
    for row, position in enumerate(converted.positions):
        if position in converted.sheet.too_long:
            cells = len(converted.sheet.rows[position])
            yield RowProblem(row, Problem(
                "error", "row-too-long", converted.table.name, None, patient_of(converted, row),
                converted.place(row), f"{cells} cells", f"{headings}, one a heading",
                "put values that hold the separating mark, such as decimal commas, in quotation "
                "marks or write decimal points",
            ))


def patient_of(converted: Converted, row: int) -> str | None:
    """The study code of a row, or None where it has none that can be read."""
    if Patients.patient_id not in converted.frame:
        return None
    code: Any = converted.frame[Patients.patient_id].iat[row]
    return None if pd.isna(code) else str(code)
