"""Making a registry, knowing one of ours, and bringing an older one up to the schema."""

from __future__ import annotations

from sqlalchemy import Connection, Table, inspect, select
from sqlalchemy.exc import DataError, DBAPIError, StatementError
from sqlalchemy.schema import CreateColumn, CreateTable

from registry.schema import TABLES
from registry.schema.migrations.numbered import schema_version, since
from registry.store.guards import put_guards
from registry.store.older_version import Done, carry_out
from registry.store.row_writing import read_tables
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
        {"name": "schema_version", "value": str(schema_version())},
        {"name": "made_at", "value": now_utc()},
    ])
    writer = TrailWriter(connection, sql.trail, Origin())
    writer.add("made", after={"format": FORMAT, "schema_version": schema_version()})
    writer.flush()


def is_empty(connection: Connection) -> bool:
    """Whether the database has no tables at all."""
    return not inspect(connection).get_table_names()


def version_of(connection: Connection, sql: SqlTables, shown: str) -> int:
    """The version a registry was written by, this one's or an older one's.

    Raises RegistryError where it is not a registry, or of a newer version.
    """
    info: dict[str, str] = {}
    if INFO in inspect(connection).get_table_names():
        columns = {column["name"] for column in inspect(connection).get_columns(INFO)}
        if {"name", "value"} <= columns:
            found = connection.execute(select(sql.info.c.name, sql.info.c.value)).all()
            info = {name: value for name, value in found}
    written = info.get("schema_version", "")
    if info.get("format") != FORMAT or not written.isdecimal():
        raise RegistryError(
            f"{shown} is a database, but not a registry of ours; nothing was written. Give the "
            "path of a registry file, or a name that does not exist yet."
        )
    version = int(written)
    if version > schema_version():
        raise RegistryError(
            f"{shown} was written by a newer nidusbook (schema {version}, this program knows "
            f"{schema_version()}); nothing was changed. Install the newer version."
        )
    return version


def check_columns(connection: Connection, shown: str) -> None:
    """Refuse a registry with columns that the schema does not know; raises RegistryError."""
    inspector = inspect(connection)
    present = set(inspector.get_table_names())
    unknown = [
        f"{name}.{column['name']}"
        for name, spec in TABLES.items() if name in present
        for column in inspector.get_columns(name) if column["name"] not in spec.by_name
    ]
    if unknown:
        raise RegistryError(
            f"{shown} has columns that schema {schema_version()} does not know: "
            f"{', '.join(unknown)}; nothing was changed. They were added by hand or by another "
            "program: take them out on a copy, or work on from a copy without them."
        )


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


def migrate_from(connection: Connection, sql: SqlTables, version: int, shown: str) -> list[Done]:
    """Do every migration that a registry of `version` has not been through; all or nothing.

    The caller's transaction is left open: it is for the caller to commit. Raises RegistryError
    where data cannot be carried over.
    """
    try:
        done = [carry_out(connection, sql, migration) for migration in since(version)]
        check_columns(connection, shown)
        bring_up(connection, sql, missing_parts(connection, sql))
        read_tables(connection, sql)
    except (TypeError, ValueError, DataError) as fault:
        raise _not_carried(shown, version, fault) from fault
    except StatementError as fault:
        # A value of another type than its column; the database's own faults are told elsewhere.
        if isinstance(fault, DBAPIError):
            raise
        raise _not_carried(shown, version, fault) from fault
    return done


def _not_carried(shown: str, version: int, fault: Exception) -> RegistryError:
    # Of a fault of the database only its own words: SQLAlchemy would add every row.
    words = fault.orig if isinstance(fault, StatementError) else fault
    return RegistryError(
        f"{shown} cannot be brought up from schema {version} to {schema_version()}: {words}; "
        "nothing was changed."
    )


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
                                               "schema_version": schema_version()})
    connection.execute(
        sql.info.update().where(sql.info.c.name == "schema_version")
        .values(value=str(schema_version()))
    )
    writer.flush()


def _add_columns(connection: Connection, table: Table, fields: list[str]) -> None:
    quoted = connection.dialect.identifier_preparer.format_table(table)
    for name in fields:
        column = CreateColumn(table.c[name]).compile(dialect=connection.dialect)
        connection.exec_driver_sql(f"ALTER TABLE {quoted} ADD COLUMN {column}")
