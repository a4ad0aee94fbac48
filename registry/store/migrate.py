"""Making a registry, knowing one of ours, and bringing an older one up to the schema."""

from __future__ import annotations

from sqlalchemy import Connection, Table, inspect, select
from sqlalchemy.schema import CreateColumn, CreateTable

from registry.schema import SCHEMA_VERSION, TABLES
from registry.store.guards import put_guards
from registry.store.sql import INFO, SqlTables
from registry.store.store_error import RegistryError
from registry.store.trail import Origin, TrailWriter, now_utc

FORMAT = "nidusbook registry"
# "NBRG" in ASCII: lets a SQLite file say what it is (PRAGMA application_id).
APPLICATION_ID = int.from_bytes(b"NBRG", "big")


def create(connection: Connection, sql: SqlTables) -> None:
    """Make all tables and guards in an empty database, inside the caller's transaction."""
    sql.metadata.create_all(connection)
    put_guards(connection)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(sql.info.insert(), [
        {"name": "format", "value": FORMAT},
        {"name": "schema_version", "value": str(SCHEMA_VERSION)},
        {"name": "made_at", "value": now_utc()},
    ])
    writer = TrailWriter(connection, sql.trail, Origin())
    writer.add("made", after={"format": FORMAT, "schema_version": SCHEMA_VERSION})
    writer.flush()


def is_empty(connection: Connection) -> bool:
    """Whether the database has no tables at all."""
    return not inspect(connection).get_table_names()


def check_ours(connection: Connection, sql: SqlTables, shown: str) -> None:
    """Refuse a database that is not a registry, is of a newer version, or has other columns.

    Raises RegistryError.
    """
    tables = set(inspect(connection).get_table_names())
    info: dict[str, str] = {}
    if INFO in tables:
        columns = {column["name"] for column in inspect(connection).get_columns(INFO)}
        if {"name", "value"} <= columns:
            info = dict(connection.execute(select(sql.info.c.name, sql.info.c.value)).all())
    if info.get("format") != FORMAT:
        raise RegistryError(
            f"{shown} is a database, but not a registry of ours; nothing was written. Give the "
            "path of a registry file, or a name that does not exist yet."
        )
    version = int(info.get("schema_version", "0"))
    if version > SCHEMA_VERSION:
        raise RegistryError(
            f"{shown} was written by a newer nidusbook (schema {version}, this program knows "
            f"{SCHEMA_VERSION}); nothing was changed. Install the newer version."
        )
    if unknown := _unknown_columns(connection, tables):
        raise RegistryError(
            f"{shown} has columns that schema {version} does not know: {', '.join(unknown)}; "
            "nothing was changed. They were added by hand or by another program: take them out "
            "on a copy, or work on from a copy without them."
        )


def _unknown_columns(connection: Connection, tables: set[str]) -> list[str]:
    inspector = inspect(connection)
    return [
        f"{name}.{column['name']}"
        for name, spec in TABLES.items() if name in tables
        for column in inspector.get_columns(name) if column["name"] not in spec.by_name
    ]


def missing_parts(connection: Connection, sql: SqlTables) -> dict[str, list[str]]:
    """Fields of the schema that the database does not have: table → names.

    A table that is missing altogether has all its fields named.
    """
    inspector = inspect(connection)
    present = set(inspector.get_table_names())
    found = {}
    for name, spec in TABLES.items():
        has = {c["name"] for c in inspector.get_columns(name)} if name in present else set()
        lacking = [field for field in spec.columns if field not in has]
        if lacking:
            found[name] = lacking
    return found


def bring_up(connection: Connection, sql: SqlTables, missing: dict[str, list[str]]) -> None:
    """Add the fields of `missing`; old rows keep what they have, the new fields are blank.

    Each addition is an entry of the audit trail.
    """
    present = set(inspect(connection).get_table_names())
    writer = TrailWriter(connection, sql.trail, Origin())
    for name, fields in missing.items():
        table = sql.data[name]
        if name not in present:
            connection.execute(CreateTable(table))
        else:
            _add_columns(connection, table, fields)
        writer.add("schema", table=name, after={"fields added": ", ".join(fields),
                                               "schema_version": SCHEMA_VERSION})
    connection.execute(
        sql.info.update().where(sql.info.c.name == "schema_version")
        .values(value=str(SCHEMA_VERSION))
    )
    writer.flush()


def _add_columns(connection: Connection, table: Table, fields: list[str]) -> None:
    quoted = connection.dialect.identifier_preparer.format_table(table)
    for name in fields:
        column = CreateColumn(table.c[name]).compile(dialect=connection.dialect)
        connection.exec_driver_sql(f"ALTER TABLE {quoted} ADD COLUMN {column}")
