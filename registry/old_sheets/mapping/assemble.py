"""Groups of rows → the rows of each table: keys given, rows of one key put together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from registry.intake.cell import Remark, shown
from registry.old_sheets.mapping.groups import Group, Identity, identity_of
from registry.old_sheets.mapping.row_numbers import Numbering
from registry.old_sheets.mapping.sheet_rows import CellFault, SheetRows
from registry.old_sheets.mapping.statements import Target
from registry.schema import TABLES, Patients, TableSpec


@dataclass(slots=True)
class OneRow:
    """A row of a table: its key, the groups and sheet rows it is made of, and what is stated.

    `position` is the zero-based sheet row it stands in first.
    """

    position: int
    key: dict[str, Any]
    parts: list[tuple[Group, int]] = field(default_factory=list)
    stated: dict[str, Any] = field(default_factory=dict)
    faults: list[CellFault] = field(default_factory=list)

    def value(self, name: str) -> Any:
        """The value of a field; None for a blank."""
        if name in self.key:
            return self.key[name]
        for group, row in self.parts:
            values = group.values.get(name)
            if values is not None and values[row] is not None:
                return values[row]
        return self.stated.get(name)

    def origin(self, name: str) -> tuple[int, int, int] | None:
        """Sheet row, column and part of the cell that gave a field its value, or that failed to."""
        for group, row in self.parts:
            values = group.values.get(name)
            if values is not None and values[row] is not None:
                return (row, *group.source[name])
        for fault in self.faults:
            if fault.field == name:
                return (fault.row, fault.column, fault.identity.part)
        return None

    @property
    def faulty(self) -> set[str]:
        """The fields with a fault that keeps the patient out."""
        return {fault.field for fault in self.faults if fault.remark.severity == "error"}


class Assembler:
    """Puts the tables of one sheet together; two values for one field become faults."""

    def __init__(self, rows: SheetRows) -> None:
        self._rows, self._mapping = rows, rows.bound.mapping
        self._force_rows()
        self._numbering = Numbering(rows)
        self._faults: dict[tuple[Identity, int], list[CellFault]] = {}
        for fault in rows.faults:
            self._faults.setdefault((fault.identity, fault.row), []).append(fault)

    def tables(self) -> dict[str, list[OneRow]]:
        """The rows of every table that this sheet feeds, in the order of the sheet."""
        fed = {identity.table for identity in self._rows.groups}
        alone = {c.target.table for c in self._mapping.constants
                 if Patients.patient_id not in TABLES[c.target.table].key}
        return {
            name: self._table(spec) if name in fed
            else [OneRow(self._mapping.heading_rows[-1] - 1, {})]
            for name, spec in TABLES.items() if name in fed | alone
        }

    def _force_rows(self) -> None:
        """Every filled row of the sheet has its own table's row and the rows above it."""
        groups, size = self._rows.groups, len(self._rows.bound.sheet.rows)
        filled = pd.Series(self._rows.patients, dtype=object).notna().to_numpy()
        for group in groups.values():
            filled = filled | group.filled
        name: str | None = self._mapping.one_row_is
        while name is not None and Patients.patient_id in TABLES[name].key:
            identity = identity_of(Target(name, Patients.patient_id), (), 0, self._mapping.numbers,
                                   self._rows.key_columns)
            group = groups.setdefault(identity, Group(identity, size))
            group.filled = group.filled | filled
            name = TABLES[name].parent

    def _table(self, spec: TableSpec) -> list[OneRow]:
        found: list[tuple[int, int, OneRow]] = []
        for order, (identity, group) in enumerate(self._rows.groups.items()):
            if identity.table == spec.name:
                found += [(row, order, self._row(spec, group, row))
                          for row in group.filled.nonzero()[0].tolist()]
        found.sort(key=lambda one: one[:2])
        return self._together(spec, (row for _, _, row in found))

    def _row(self, spec: TableSpec, group: Group, row: int) -> OneRow:
        key = (self._rows.patients[row], *self._numbering.key(group.identity, row))
        return OneRow(
            row, dict(zip(spec.key, key, strict=True)), [(group, row)],
            dict(group.identity.beside), list(self._faults.get((group.identity, row), ())),
        )

    def _together(self, spec: TableSpec, rows: Iterator[OneRow]) -> list[OneRow]:
        """Rows of one key as one: always within a sheet row, and for tables above the sheet's."""
        repeats = not _at_or_below(spec, self._mapping.one_row_is)
        kept: dict[tuple[Any, ...], OneRow] = {}
        for row in rows:
            key = tuple(row.key.values())
            place = key if repeats and None not in key else (row.position, *key)
            if place in kept:
                self._join(spec, kept[place], row)
            else:
                kept[place] = row
        return list(kept.values())

    def _join(self, spec: TableSpec, first: OneRow, other: OneRow) -> None:
        for group, row in other.parts:
            for name, values in group.values.items():
                known = first.value(name)
                if name not in spec.key and known is not None and values[row] is not None \
                        and values[row] != known:
                    first.faults.append(self._two_values(spec, first, name, row, group))
        for name, value in other.stated.items():
            first.stated.setdefault(name, value)
        first.parts += other.parts
        first.faults += other.faults

    def _two_values(
        self, spec: TableSpec, first: OneRow, name: str, row: int, group: Group
    ) -> CellFault:
        column, _ = group.source[name]
        there = first.origin(name)
        known = self._rows.cell(*there[:2]) if there else first.value(name)
        remark = Remark(
            "error", "two-values",
            f"{shown(self._rows.cell(row, column))}, where row "
            f"{(there or (first.position,))[0] + 1} has {shown(known)} for the same row of "
            f"{spec.name}",
            "one value", "correct the row that is wrong",
        )
        if (row, column) not in self._rows.filled_down:
            self._rows.fates.problem(row, column, remark.rule)
        return CellFault(group.identity, row, name, column, remark)


def _at_or_below(spec: TableSpec, one_row_is: str) -> bool:
    """Whether a table is the sheet's own or hangs below it."""
    name: str | None = spec.name
    while name is not None:
        if name == one_row_is:
            return True
        name = TABLES[name].parent
    return False
