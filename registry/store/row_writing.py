"""Reading and writing the rows of the data tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import pandas as pd
from sqlalchemy import Connection, Delete, Table, Update, bindparam, select

from registry.schema import TABLES, Patients, TableSpec
from registry.schema.canonical import Record, records
from registry.store.changes import States, TablePlan, Tables
from registry.store.decide import changes_of, decide
from registry.store.decision import Decision
from registry.store.held_rows import held_records, hold, patients_named
from registry.store.intake_result import Change, IntakeResult
from registry.store.sql import SqlTables
from registry.store.trail import Origin, TrailWriter, row_states

if TYPE_CHECKING:
    from registry.store.batch import Batch

Changing = TypeVar("Changing", Update, Delete)


def read_tables(connection: Connection, sql: SqlTables) -> Tables:
    """All data tables, typed and sorted by key."""
    return {name: _read(connection, sql.data[name], spec) for name, spec in TABLES.items()}


def _read(connection: Connection, table: Table, spec: TableSpec) -> pd.DataFrame:
    found = connection.execute(select(*(table.c[name] for name in spec.columns))).all()
    frame = pd.DataFrame(found, columns=list(spec.columns), dtype="object")
    return spec.typed(frame).sort_values(list(spec.key), ignore_index=True)


def write_batch(
    connection: Connection, sql: SqlTables, batch: Batch, origin: Origin, *, replacing: bool,
) -> tuple[IntakeResult, int]:
    """Take a batch in inside the caller's transaction.

    Returns what was done and how many entries the audit trail gained; none means that nothing
    at all was written.
    """
    current = read_tables(connection, sql)
    states = row_states(connection, sql.trail)
    decision = decide(batch, current, states, replacing=replacing)
    writer = TrailWriter(connection, sql.trail, origin)
    for name, plan in decision.plans.items():
        _add(connection, sql.data[name], plan, writer, states)
        _revise(connection, sql.data[name], plan, writer, states)
    for name in reversed(list(TABLES)):
        _remove(connection, sql.data[name], decision.plans[name], writer, states)
    come_in = set(decision.plans["patients"].added[Patients.patient_id])
    hold(connection, sql.held, writer, held_records(batch, decision), come_in,
         patients_named(batch))
    return _result(batch, decision), writer.flush()


def _revision(states: States, table: str, key: str) -> int:
    state = states.get(table, {}).get(key)
    return state.revision + 1 if state else 1


def _add(
    connection: Connection, table: Table, plan: TablePlan, writer: TrailWriter, states: States,
) -> None:
    rows = records(plan.added, plan.spec.fields)
    if rows:
        connection.execute(table.insert(), rows)
    for key, row in zip(plan.added.index, rows, strict=True):
        writer.add("added", table=plan.spec.name, key=key, after=row,
                   revision=_revision(states, plan.spec.name, key))


def _revise(
    connection: Connection, table: Table, plan: TablePlan, writer: TrailWriter, states: States,
) -> None:
    old, new = (records(part, plan.spec.fields) for part in (plan.before, plan.after))
    if new:
        statement = _where_key(table.update(), table, plan.spec).values(
            {name: bindparam(f"to_{name}") for name in plan.spec.columns}
        )
        connection.execute(statement, [
            {**{f"to_{n}": v for n, v in row.items()}, **_key_values(row, plan.spec)}
            for row in new
        ])
    for key, before, after in zip(plan.after.index, old, new, strict=True):
        writer.add("revised", table=plan.spec.name, key=key, before=before, after=after,
                   revision=_revision(states, plan.spec.name, key))


def _remove(
    connection: Connection, table: Table, plan: TablePlan, writer: TrailWriter, states: States,
) -> None:
    rows = records(plan.gone, plan.spec.fields)
    if rows:
        connection.execute(
            _where_key(table.delete(), table, plan.spec),
            [_key_values(row, plan.spec) for row in rows],
        )
    for key, row in zip(plan.gone.index, rows, strict=True):
        writer.add("removed", table=plan.spec.name, key=key, before=row,
                   revision=_revision(states, plan.spec.name, key))


def _where_key(statement: Changing, table: Table, spec: TableSpec) -> Changing:
    for name in spec.key:
        statement = statement.where(table.c[name] == bindparam(f"key_{name}"))
    return statement


def _key_values(row: Record, spec: TableSpec) -> Record:
    return {f"key_{name}": row[name] for name in spec.key}


def _result(batch: Batch, decision: Decision) -> IntakeResult:
    changes = [change for plan in decision.plans.values() for _, change in changes_of(plan)]
    for plan in decision.plans.values():
        changes += _removals(plan)
    held = {
        row.patient_id or (row.table, row.place.sheet, row.place.row) for row in batch.held
    }
    count = {
        part: {name: len(getattr(plan, part)) for name, plan in decision.plans.items()}
        for part in ("added", "after", "unchanged", "gone")
    }
    return IntakeResult(
        added=count["added"], revised=count["after"], unchanged=count["unchanged"],
        removed=count["gone"], clashes=decision.problems, notices=decision.notices,
        held=len(held), changes=changes, kept_out=tuple(sorted(decision.patients_out)),
    )


def _removals(plan: TablePlan) -> list[Change]:
    return [
        Change(plan.spec.name, {n: row[n] for n in plan.spec.key}, name, value, None)
        for row in records(plan.gone, plan.spec.fields)
        for name, value in row.items() if value is not None
    ]
