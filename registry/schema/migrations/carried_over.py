"""Rows of an earlier version carried over to this one, and what became of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from registry.schema.migrations.change_steps import Row, Rows, Texts
from registry.schema.migrations.numbered import Migration


@dataclass(frozen=True)
class CarriedOver:
    """Rows after migrations. `told`: sentences about values that have no place any more.

    A table that was there before has its rows in the order they had; `changed` counts, by table,
    those that say something else or under another name, and those of a table newly made.
    """

    tables: Rows
    changed: Mapping[str, int]
    told: tuple[str, ...]


def carry_over(tables: Rows, migrations: Sequence[Migration]) -> CarriedOver:
    """Do the steps of `migrations` to rows by table; what goes in stays as it is.

    Raises ValueError, naming table and row, where a value cannot be carried over.
    """
    told: list[str] = []
    after = dict(tables)
    for migration in migrations:
        for step in migration.steps:
            told += step.told(after)
            after = step.of_rows(after)
    changed = {
        name: sum(1 for row, old in _beside(rows, tables.get(name)) if differs(old, row))
        for name, rows in after.items()
    }
    return CarriedOver(after, {name: n for name, n in changed.items() if n}, tuple(told))


def differs(before: Row | None, after: Row) -> bool:
    """Whether a row says something else, or under another name; a blank says nothing."""
    return before is None or _filled(before) != _filled(after)


def carried_text(table: str, values: Texts, migrations: Sequence[Migration]) -> Texts:
    """A row that is held back, as text by field name, after `migrations`."""
    for migration in migrations:
        for step in migration.steps:
            if step.table == table:
                values = step.of_text(values)
    return values


def _beside(rows: list[Row], before: list[Row] | None) -> list[tuple[Row, Row | None]]:
    olds: Sequence[Row | None] = [None] * len(rows) if before is None else before
    return list(zip(rows, olds, strict=True))


def _filled(row: Row) -> Row:
    return {name: value for name, value in row.items() if value is not None}
