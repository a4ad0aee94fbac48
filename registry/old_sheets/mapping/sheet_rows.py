"""What the columns of a mapped sheet gave: groups of rows, faults, and every cell's fate."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from registry.intake.cell import Remark
from registry.old_sheets.fates import Fates
from registry.old_sheets.mapping.bind import Bound
from registry.old_sheets.mapping.cell_reader import CellReader, Reading
from registry.old_sheets.mapping.groups import Group, Identity, identity_of
from registry.old_sheets.mapping.read_columns import number_names
from registry.old_sheets.mapping.statements import ColumnPlan, Target


@dataclass(frozen=True)
class CellFault:
    """A remark on a value: in which kind of row, which sheet row, which field and column."""

    identity: Identity
    row: int
    field: str
    column: int
    remark: Remark


@dataclass
class SheetRows:
    """Everything read from the columns of a sheet.

    `patients` are the study codes by sheet row, None where there is none; `key_values` the key
    numbers that columns give, by sheet row.
    """

    bound: Bound
    fates: Fates
    groups: dict[Identity, Group] = field(default_factory=dict)
    patients: list[str | None] = field(default_factory=list)
    key_values: dict[str, list[int | None]] = field(default_factory=dict)
    faults: list[CellFault] = field(default_factory=list)
    readers: dict[int, CellReader] = field(default_factory=dict)
    filled_down: dict[tuple[int, int], Any] = field(default_factory=dict)

    @property
    def key_columns(self) -> dict[str, int]:
        """Key number → the column of the sheet that gives it."""
        return {
            target.field: column for column, plan in self.bound.columns.items()
            for target in plan.targets if target.field in number_names() and target.spec.key
        }

    def cell(self, row: int, column: int) -> Any:
        """A raw cell; a merged one counts for each of its rows where the mapping says so."""
        return self.filled_down.get((row, column), self.bound.sheet.cell(row, column))

    def reading(self, row: int, column: int) -> Reading:
        """What a cell came to (read once, remembered)."""
        return self.readers[column].read(self.cell(row, column), self.bound.orders.get(row))

    def group(self, identity: Identity) -> Group:
        """The group of an identity, made when first asked for."""
        if identity not in self.groups:
            self.groups[identity] = Group(identity, len(self.bound.sheet.rows))
        return self.groups[identity]

    def identity(self, target: Target, plan: ColumnPlan, part: int = 0) -> Identity:
        """The identity of the rows that a column's values of `target` belong to."""
        return identity_of(target, plan.numbers, part, self.bound.mapping.numbers,
                           self.key_columns)
