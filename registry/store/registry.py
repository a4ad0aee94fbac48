"""The registry: the one object through which its data are read and taken in."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
from sqlalchemy import URL, Connection, Engine

from registry.schema.migrations.numbered import schema_version
from registry.store import migrate
from registry.store.address import Address, address_of, check_file
from registry.store.brought_up import brought_up
from registry.store.changes import Tables
from registry.store.engines import engine_for, memory_engine, told_plainly, transaction
from registry.store.held_rows import held_frame
from registry.store.intake_result import IntakeResult, Snapshot
from registry.store.kept_copy import keep_copy
from registry.store.row_writing import read_tables, write_batch
from registry.store.soundness import breaks
from registry.store.sql import SqlTables, sql_tables
from registry.store.store_error import RegistryError
from registry.store.trail import Origin, audit_frame, entries_frame, trail_head

if TYPE_CHECKING:
    from registry.store.batch import Batch

BY_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,19}")


def open_registry(
    place: str | Path, *, create: bool = True, bring_up: bool = True,
) -> Registry:
    """Open a registry: a SQLite file by its path, or PostgreSQL by its URL.

    Where there is none yet, the first intake makes it (a trial makes nothing); with
    `create=False` that is refused. One of an older version is brought up in one transaction,
    after a copy of its file was put beside it, and `Registry.opening` says so; with
    `bring_up=False` that is refused. Raises RegistryError, one sentence, where the place is a
    folder, read-only, damaged, not a registry of ours, or of a newer version.
    """
    registry = Registry(address_of(place), bring_up=bring_up)
    if not create and not registry.exists:
        raise RegistryError(
            f"There is no registry at {registry.place}; check the path, or take a source in first."
        )
    return registry


class Registry:
    """An open registry. Connections last only as long as a call; there is nothing to close."""

    def __init__(self, address: Address, *, bring_up: bool = True) -> None:
        self._address = address
        self._opening: tuple[str, ...] = ()
        self._sql: SqlTables = sql_tables()
        if address.path is not None:
            check_file(address.path)
        self._engine: Engine = engine_for(address.url)
        with told_plainly(address):
            self._exists = self._look(bring_up=bring_up)

    def __repr__(self) -> str:
        return f"Registry({str(self._address)!r})"

    @property
    def place(self) -> str:
        """Its path or URL, without a password."""
        return str(self._address)

    @property
    def exists(self) -> bool:
        """Whether it has been made yet."""
        return self._exists

    @property
    def opening(self) -> tuple[str, ...]:
        """What was done to it on opening, as sentences: nothing, or that it was brought up."""
        return self._opening

    def tables(self) -> Tables:
        """Every table, typed by the schema and sorted by key; empty ones where it is new."""
        with self._reading() as connection:
            return read_tables(connection, self._sql)

    def held(self) -> pd.DataFrame:
        """The rows kept out: table, patient_id, sheet, row, values, reasons, source, held_at."""
        with self._reading() as connection:
            return held_frame(connection, self._sql.held)

    def audit(self) -> pd.DataFrame:
        """The audit trail, one row a field changed: when (UTC), by, row, before, after, source."""
        with self._reading() as connection:
            return audit_frame(connection, self._sql.trail)

    def audit_head(self) -> tuple[int, str]:
        """How many entries the audit trail has, and the hash of its last one."""
        with self._reading() as connection:
            return trail_head(connection, self._sql.trail)

    def snapshot(self) -> Snapshot:
        """Tables, held rows, entry dates and the head of the trail, all of one moment."""
        with self._reading() as connection:
            return Snapshot(
                read_tables(connection, self._sql),
                held_frame(connection, self._sql.held),
                entries_frame(connection, self._sql.trail),
                trail_head(connection, self._sql.trail),
            )

    def verify_audit(self) -> list[str]:
        """Everything that shows tampering, as sentences; an empty list where all holds.

        Looks at the chain of hashes, at the guards of the trail, and at whether every row of
        the tables is as the trail last left it.
        """
        if not self._exists:
            return []
        with self._reading() as connection:
            return breaks(connection, self._sql)

    def take_in(
        self, batch: Batch, *, by: str | None = None, replace: bool = False,
        dry_run: bool = False,
    ) -> IntakeResult:
        """Take a batch in, in one transaction: all of it that may go in, or nothing.

        `by` is the code of the person (letters, digits, . _ -). With `replace`, this source's
        word replaces the registry's: rows that another source gave are overwritten, and rows
        that this source gave before and has no more are removed; both stay in the audit
        trail. A patient keeps everything where rows of a table are gone while others of it stand
        under a code that no patient of the source has. Without `replace`, the first are clashes
        (nothing of that patient is changed) and the second are asked about and stay. `dry_run`
        does everything and keeps nothing. Taking the same source in again writes nothing.
        Raises RegistryError, with nothing written.
        """
        origin = Origin(_checked_code(by), batch.source_id, batch.source_name, batch.source_sha256)
        with told_plainly(self._address), self._writing(dry_run=dry_run) as connection:
            result, entries = write_batch(
                connection, self._sql, batch, origin, replacing=replace
            )
            if entries and not dry_run:
                connection.commit()
        return result if not dry_run else _as_trial(result)

    def _look(self, *, bring_up: bool) -> bool:
        """Whether the registry exists; brings an older one up to the schema."""
        if self._address.path is not None and not self._address.path.exists():
            return False
        with transaction(self._engine, writing=False) as connection:
            if self._address.path is None and migrate.is_empty(connection):
                return False
            version = migrate.version_of(connection, self._sql, self.place)
            older = version < schema_version()
            if not older:
                migrate.check_columns(connection, self.place)
            missing = migrate.missing_parts(connection, self._sql)
        if older and not bring_up:
            raise RegistryError(
                f"{self.place} is of version {version} and has to be brought up to version "
                f"{schema_version()} first, which a trial does not do; nothing was changed. "
                "nidusbook check brings it up, and keeps a copy of it as it was."
            )
        if older:
            self._migrate()
        elif missing:
            with transaction(self._engine, writing=True) as connection:
                migrate.bring_up(connection, self._sql, missing)
                connection.commit()
        return True

    def _migrate(self) -> None:
        """Bring an older version up, unless another program has done so in the meantime."""
        path, copy = self._address.path, None
        try:
            with transaction(self._engine, writing=True) as connection:
                version = migrate.version_of(connection, self._sql, self.place)
                if version == schema_version():
                    return
                copy = keep_copy(path, version) if path else None
                done = migrate.migrate_from(connection, self._sql, version, self.place)
                held = len(held_frame(connection, self._sql.held))
                connection.commit()
        except BaseException:
            # Nothing was changed, so the copy is of no use to anybody.
            if copy is not None:
                copy.unlink(missing_ok=True)
            raise
        self._opening = brought_up(self.place, version, done, held, copy)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with told_plainly(self._address):
            engine = self._engine if self._exists else memory_engine()
            with transaction(engine, writing=False) as connection:
                if not self._exists:
                    self._sql.metadata.create_all(connection)
                yield connection

    @contextmanager
    def _writing(self, *, dry_run: bool) -> Iterator[Connection]:
        """A transaction for an intake; a registry that is not there yet is made in it."""
        if self._exists:
            with transaction(self._engine, writing=True) as connection:
                yield connection
        elif dry_run:
            with transaction(memory_engine(), writing=True) as connection:
                migrate.create(connection, self._sql)
                yield connection
        else:
            with self._making() as connection:
                yield connection

    @contextmanager
    def _making(self) -> Iterator[Connection]:
        """Make the registry: a file is made beside its place and moved there when complete."""
        path = self._address.path
        if path is None:
            with transaction(self._engine, writing=True) as connection:
                migrate.create(connection, self._sql)
                yield connection
            self._exists = not self._is_still_empty()
            return
        beside = path.with_name(f".{path.name}.part")
        beside.unlink(missing_ok=True)
        try:
            engine = engine_for(URL.create("sqlite", database=str(beside)))
            with transaction(engine, writing=True) as connection:
                migrate.create(connection, self._sql)
                yield connection
                made = not connection.in_transaction()
            if made:
                _move(beside, path)
                self._exists = True
        finally:
            beside.unlink(missing_ok=True)

    def _is_still_empty(self) -> bool:
        with transaction(self._engine, writing=False) as connection:
            return migrate.is_empty(connection)


def _move(beside: Path, path: Path) -> None:
    if path.exists():
        raise RegistryError(
            f"{path} was made by another program in the meantime; nothing was written. Take the "
            "source in again."
        )
    os.replace(beside, path)


def _checked_code(by: str | None) -> str | None:
    if by is None or BY_CODE.fullmatch(by):
        return by
    raise RegistryError(
        "The code after --by may have letters, digits, dots, hyphens and underscores, 20 at most "
        "(a code such as QI1, never a name); nothing was written."
    )


def _as_trial(result: IntakeResult) -> IntakeResult:
    from dataclasses import replace

    return replace(result, dry_run=True)
