"""A registry of an older version brought up: columns, rows, rows held back, and the audit trail.

Everything happens inside the caller's transaction: it is all done, or nothing is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, MetaData, Table, bindparam, inspect, select
from sqlalchemy.schema import CreateColumn, CreateTable

from registry.schema import TABLES
from registry.schema.canonical import key_json, row_json
from registry.schema.migrations.carried_over import carry_over, differs
from registry.schema.migrations.change_steps import Row, Structure
from registry.schema.migrations.numbered import Migration
from registry.schema.tables import TableSpec
from registry.store.held_rows import carry_held
from registry.store.sql import HELD, INFO, TRAIL, SqlTables, data_table, sql_column
from registry.store.trail import LastEntry, Origin, TrailWriter, last_entries

OURS_ALONE = (HELD, INFO, TRAIL)
LastEntries = Mapping[tuple[str, str], LastEntry]


@dataclass(frozen=True)
class Done:
    """What a migration did: `changed` counts rows by table, `held` the rows held back."""

    migration: Migration
    changed: Mapping[str, int]
    held: int
    told: tuple[str, ...]


def carry_out(connection: Connection, sql: SqlTables, migration: Migration) -> Done:
    """Do one migration to a registry of the version before it.

    Each row that then says something else, or under another name, gets a revision in the audit
    trail, by the migration and from the source that gave the row; a row that was not as the trail
    left it gets none, so that it goes on being found. Raises ValueError where a value cannot be
    carried over, or a step would touch a key.
    """
    tables = _data_tables(connection, migration)
    before = {name: _rows(connection, table) for name, table in tables.items()}
    carried = carry_over(before, [migration])
    for step in migration.steps:
        _restructure(connection, step.table, step.structure)
    writer = TrailWriter(connection, sql.trail, Origin(by=f"migration-{migration.number}"))
    writer.add("migrated", after={
        "schema_version": migration.number, "what": migration.sentence, **dict(carried.changed),
    })
    last = last_entries(connection, sql.trail)
    made = {step.table: step.structure.made for step in migration.steps if step.structure.made}
    for name, table in _data_tables(connection, migration).items():
        if name in made:
            _add(connection, table, made[name], carried.tables[name], writer, last)
        elif name in carried.changed:
            _revise(connection, (tables[name], before[name]), (table, carried.tables[name]),
                    writer, last)
    held = carry_held(connection, sql.held, writer, migration)
    writer.flush()
    return Done(migration, carried.changed, held, carried.told)


def _data_tables(connection: Connection, migration: Migration) -> dict[str, Table]:
    """The data tables as they stand in the database, whatever the schema says now."""
    named = {*TABLES, *(step.table for step in migration.steps)} - set(OURS_ALONE)
    names = named & set(inspect(connection).get_table_names())
    metadata = MetaData()
    metadata.reflect(connection, only=sorted(names), resolve_fks=False)
    return {name: metadata.tables[name] for name in names}


def _rows(connection: Connection, table: Table) -> list[Row]:
    found = connection.execute(select(table).order_by(*table.primary_key.columns)).mappings()
    return [{name: _plain(value) for name, value in row.items()} for row in found]


def _plain(value: object) -> object:
    # Adding zero makes the negative zero a plain one, as `canonical.plain_values` does.
    return value + 0.0 if isinstance(value, float) else value


def _restructure(connection: Connection, name: str, structure: Structure) -> None:
    """Columns renamed, added and dropped, or the table made, as the step says."""
    if structure.made is not None:
        metadata = MetaData()
        if structure.made.parent:
            metadata.reflect(connection, only=[structure.made.parent], resolve_fks=False)
        connection.execute(CreateTable(data_table(metadata, structure.made)))
        return
    quote = connection.dialect.identifier_preparer.quote
    alter = f"ALTER TABLE {quote(name)} "
    for old, new in structure.renamed.items():
        connection.exec_driver_sql(f"{alter}RENAME COLUMN {quote(old)} TO {quote(new)}")
    for column in structure.added:
        made = CreateColumn(sql_column(column.spec)).compile(dialect=connection.dialect)
        connection.exec_driver_sql(f"{alter}ADD COLUMN {made}")
    for old in structure.dropped:
        connection.exec_driver_sql(f"{alter}DROP COLUMN {quote(old)}")


def _revise(
    connection: Connection, before: tuple[Table, list[Row]], after: tuple[Table, list[Row]],
    writer: TrailWriter, last: LastEntries,
) -> None:
    """Rows that differ are written and get their entry in the trail."""
    table = after[0]
    old_key, key = ([c.name for c in one.primary_key.columns] for one in (before[0], table))
    changed = [(old, new) for old, new in zip(before[1], after[1], strict=True)
               if differs(old, new)]
    others = [c.name for c in table.columns if c.name not in key]
    statement = table.update().values({name: bindparam(f"to_{name}") for name in others})
    for name in key:
        statement = statement.where(table.c[name] == bindparam(f"key_{name}"))
    connection.execute(statement, [
        {**{f"to_{n}": new[n] for n in others}, **{f"key_{n}": new[n] for n in key}}
        for _, new in changed
    ])
    for old, new in changed:
        row_key = key_json(new, key)
        if row_key != key_json(old, old_key):
            raise ValueError(f"the key of a row of {table.name} may not change")
        entry = last.get((table.name, row_key))
        if entry is not None and entry.after == row_json(old):
            writer.add("migrated", table=table.name, key=row_key, before=old, after=new,
                       revision=entry.revision + 1, source=entry.origin)


def _add(
    connection: Connection, table: Table, spec: TableSpec, rows: list[Row], writer: TrailWriter,
    last: LastEntries,
) -> None:
    """Rows of a table newly made; each is from the source of the row it hangs on."""
    if rows:
        connection.execute(table.insert(), rows)
    for row in rows:
        parent = last.get((spec.parent or "", key_json(row, spec.parent_key)))
        writer.add("migrated", table=table.name, key=key_json(row, spec.key), after=row, revision=1,
                   source=parent.origin if parent else None)
