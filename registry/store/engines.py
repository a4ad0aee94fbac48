"""Connections: foreign keys on, real transactions, faults told in a sentence."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError, IntegrityError, OperationalError
from sqlalchemy.pool import NullPool, StaticPool

from registry.store.address import Address
from registry.store.sql import TRAIL
from registry.store.store_error import RegistryError

# Seconds to wait for another program that is writing to the same registry.
BUSY_SECONDS = 30


def engine_for(url: URL) -> Engine:
    """An engine for a registry; nothing is opened yet.

    Raises RegistryError where the PostgreSQL driver is not installed.
    """
    if url.drivername != "sqlite":
        try:
            return create_engine(url, poolclass=NullPool)
        except ModuleNotFoundError as fault:
            raise RegistryError(
                "The driver for PostgreSQL is not installed; install nidusbook[postgresql]."
            ) from fault
    # A registry in memory must stay with its one connection, or it is gone.
    pool = NullPool if url.database else StaticPool
    engine = create_engine(url, poolclass=pool, connect_args={"timeout": BUSY_SECONDS})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def memory_engine() -> Engine:
    """An engine for a registry that is never kept: for reading and trying before one exists."""
    return engine_for(URL.create("sqlite"))


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    # Python's own transaction handling would commit before DDL; SQLAlchemy begins instead.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


@contextmanager
def transaction(engine: Engine, *, writing: bool) -> Iterator[Connection]:
    """One transaction, rolled back at the end unless the caller has committed it.

    A writer on PostgreSQL waits for any other, as SQLite makes it by itself.
    """
    with engine.connect().execution_options(writing=writing) as connection:
        work = connection.begin()
        try:
            if writing and engine.dialect.name != "sqlite":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock(hashtext('{TRAIL}'))")
            yield connection
        finally:
            if work.is_active:
                work.rollback()


@contextmanager
def told_plainly(address: Address) -> Iterator[None]:
    """Turn the database's own faults into a RegistryError that names the registry."""
    try:
        yield
    except OperationalError as fault:
        raise RegistryError(_operational(address, fault)) from fault
    except IntegrityError as fault:
        raise RegistryError(
            f"{address} refused a row that has no parent or stands twice; nothing was written."
        ) from fault
    except DatabaseError as fault:
        raise RegistryError(
            f"{address} cannot be read as a registry (damaged, or not a database); nothing was "
            "written. Work on from a copy that was kept."
        ) from fault


def _operational(address: Address, fault: OperationalError) -> str:
    words = str(fault.orig).lower()
    if "locked" in words or "busy" in words:
        return f"{address} is in use by another program; try again when it has finished."
    if "readonly" in words or "read-only" in words:
        return f"{address} is read-only; make it writable, or work on a copy of it."
    if "full" in words:
        return f"There is no room left on the disk of {address}; nothing was written."
    if address.path is None:
        return (
            f"The database {address} cannot be reached; check the address, the user, the password "
            "and whether the server runs."
        )
    return f"{address} cannot be opened as a registry; check the path and its permissions."
