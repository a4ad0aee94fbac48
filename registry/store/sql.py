"""The SQL tables, generated from the schema.

A data table holds what its fields say and nothing else. Only the key is NOT NULL, and the
lists and ranges are not repeated as CHECK clauses: a required field or a longer list may be
added later, and neither SQLite nor old rows could follow. The schema is checked at the door
instead. Foreign keys lead from every child to its parent.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Date,
    Float,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
)

from registry.schema import TABLES, FieldSpec, Patients, TableSpec

SQL_TYPES = {
    "text": Text, "choice": Text, "int": Integer, "number": Float, "yes/no": Boolean,
    "date": Date,
}
INFO, TRAIL, HELD = "registry_info", "audit_trail", "held_rows"


@dataclass(frozen=True)
class SqlTables:
    """All SQL tables of a registry: `data` by the schema's names, and the store's own three."""

    metadata: MetaData
    data: dict[str, Table]
    info: Table
    trail: Table
    held: Table


def sql_tables() -> SqlTables:
    """The SQL tables for the schema as it stands now."""
    metadata = MetaData()
    data = {name: data_table(metadata, spec) for name, spec in TABLES.items()}
    return SqlTables(metadata, data, _info(metadata), _trail(metadata), _held(metadata))


def sql_column(spec: FieldSpec) -> Column[Any]:
    """The SQL column of a field."""
    return Column(
        spec.name, SQL_TYPES[spec.type](), primary_key=spec.key, nullable=not spec.key,
        autoincrement=False,
    )


def data_table(metadata: MetaData, spec: TableSpec) -> Table:
    """The SQL table of a table of the schema."""
    parts: list[Column[Any] | ForeignKeyConstraint] = [sql_column(field) for field in spec.fields]
    if spec.parent:
        parts.append(ForeignKeyConstraint(
            spec.parent_key, [f"{spec.parent}.{name}" for name in spec.parent_key],
            name=f"fk_{spec.name}_{spec.parent}",
        ))
    return Table(spec.name, metadata, *parts)


def _info(metadata: MetaData) -> Table:
    return Table(
        INFO, metadata, Column("name", Text, primary_key=True), Column("value", Text),
    )


def _trail(metadata: MetaData) -> Table:
    """The audit trail: one entry a row touched, `before` and `after` as canonical JSON."""
    table = Table(
        TRAIL, metadata,
        Column("entry_no", Integer, primary_key=True, autoincrement=False),
        Column("at", Text, nullable=False),
        Column("by_code", Text),
        Column("action", Text, nullable=False),
        Column("table_name", Text),
        Column("row_key", Text),
        Column("revision", Integer),
        Column("before", Text),
        Column("after", Text),
        Column("source_id", Text),
        Column("source_name", Text),
        Column("source_sha256", Text),
        Column("previous_hash", Text, nullable=False),
        Column("entry_hash", Text, nullable=False),
    )
    Index("ix_audit_trail_row", table.c.table_name, table.c.row_key, table.c.entry_no)
    return table


def _held(metadata: MetaData) -> Table:
    """Rows kept out: their raw text by field, where they stood, and why."""
    return Table(
        HELD, metadata,
        Column("held_no", Integer, primary_key=True, autoincrement=False),
        Column("source_id", Text, nullable=False),
        Column("source_name", Text),
        Column("source_sha256", Text),
        Column("table_name", Text, nullable=False),
        Column(Patients.patient_id, Text),
        Column("sheet", Text),
        Column("row_no", Integer),
        Column("row_values", Text, nullable=False),
        Column("reasons", Text, nullable=False),
        Column("held_at", Text, nullable=False),
    )
