"""The audit trail: append-only, each entry carrying the hash of the one before."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Table, func, select

from registry.schema import TABLES, Patients
from registry.schema.canonical import Record, canonical_json, row_json, sha256
from registry.store.guards import NO_HASH

AUDIT_COLUMNS = (
    "entry_no", "at", "by", "action", "table", "key", "revision", "field", "before", "after",
    "source_id", "source_name", "source_sha256",
)


@dataclass(frozen=True)
class Origin:
    """Who brings a change, from where: a person's code, and the source with its hash."""

    by: str | None = None
    source_id: str | None = None
    source_name: str | None = None
    source_sha256: str | None = None


@dataclass(frozen=True)
class RowState:
    """What the trail last said of a row: its source, revision, and whether it is still there."""

    source_id: str | None
    revision: int
    removed: bool


@dataclass(frozen=True)
class LastEntry:
    """The last entry of a row: its revision, the row as JSON (None: removed), and its source."""

    revision: int
    after: str | None
    origin: Origin


def now_utc() -> str:
    """The time now in UTC, ISO 8601 to the second."""
    return dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def entry_hash(entry: Record) -> str:
    """SHA-256 over the canonical JSON of an entry without its own hash."""
    return sha256(canonical_json({k: v for k, v in entry.items() if k != "entry_hash"}))


@dataclass
class TrailWriter:
    """Adds entries behind the last one; `flush` writes them."""

    connection: Connection
    trail: Table
    origin: Origin
    at: str = field(default_factory=now_utc)
    _entries: list[Record] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._number, self._hash = trail_head(self.connection, self.trail)

    def add(
        self, action: str, *, table: str | None = None, key: str | None = None,
        revision: int | None = None, before: Record | None = None, after: Record | None = None,
        source: Origin | None = None,
    ) -> None:
        """One entry; `before` and `after` are whole rows (or facts), None where there is none.

        `source` is where the row is from, where that is not what the writer takes in.
        """
        source = source or self.origin
        self._number += 1
        entry = {
            "entry_no": self._number, "at": self.at, "by_code": self.origin.by,
            "action": action, "table_name": table, "row_key": key, "revision": revision,
            "before": None if before is None else row_json(before),
            "after": None if after is None else row_json(after),
            "source_id": source.source_id, "source_name": source.source_name,
            "source_sha256": source.source_sha256, "previous_hash": self._hash,
        }
        entry["entry_hash"] = self._hash = entry_hash(entry)
        self._entries.append(entry)

    def flush(self) -> int:
        """Write what was added; returns how many entries that was."""
        count = len(self._entries)
        if count:
            self.connection.execute(self.trail.insert(), self._entries)
        self._entries.clear()
        return count


def last_entries(connection: Connection, trail: Table) -> dict[tuple[str, str], LastEntry]:
    """The last entry of every row the trail knows, by table and key (JSON)."""
    found = connection.execute(
        select(trail.c.table_name, trail.c.row_key, trail.c.revision, trail.c.after,
               trail.c.by_code, trail.c.source_id, trail.c.source_name, trail.c.source_sha256)
        .where(trail.c.revision.is_not(None)).order_by(trail.c.entry_no)
    )
    return {(table, key): LastEntry(revision, after, Origin(*origin))
            for table, key, revision, after, *origin in found}


def row_states(connection: Connection, trail: Table) -> dict[str, dict[str, RowState]]:
    """The last state of every row the trail knows: table → key (JSON) → state."""
    last = (
        select(func.max(trail.c.entry_no)).where(trail.c.row_key.is_not(None))
        .group_by(trail.c.table_name, trail.c.row_key)
    )
    found = connection.execute(
        select(trail.c.table_name, trail.c.row_key, trail.c.source_id, trail.c.revision,
               trail.c.after.is_(None))
        .where(trail.c.entry_no.in_(last)).where(trail.c.revision.is_not(None))
    )
    states: dict[str, dict[str, RowState]] = {}
    for table, key, source, revision, removed in found:
        states.setdefault(table, {})[key] = RowState(source, revision, bool(removed))
    return states


def last_contents(connection: Connection, trail: Table) -> dict[tuple[str, str], str | None]:
    """What each row should hold by the trail: (table, key) → JSON, None where removed."""
    entries = connection.execute(
        select(trail.c.table_name, trail.c.row_key, trail.c.after)
        .where(trail.c.revision.is_not(None)).order_by(trail.c.entry_no)
    )
    return {(table, key): after for table, key, after in entries}


def trail_head(connection: Connection, trail: Table) -> tuple[int, str]:
    """Number of entries and the hash of the last (64 zeros where there is none)."""
    newest = connection.execute(
        select(trail.c.entry_no, trail.c.entry_hash).order_by(trail.c.entry_no.desc()).limit(1)
    ).first()
    return (newest.entry_no, newest.entry_hash) if newest else (0, NO_HASH)


def entries_frame(connection: Connection, trail: Table) -> pd.DataFrame:
    """When every row that is in the registry came in and was last changed (days, UTC)."""
    found = connection.execute(
        select(trail.c.table_name, trail.c.row_key, func.min(trail.c.at), func.max(trail.c.at),
               func.max(trail.c.revision))
        .where(trail.c.revision.is_not(None)).group_by(trail.c.table_name, trail.c.row_key)
    )
    states = row_states(connection, trail)
    rows = [
        {
            "table": table, "key": key,
            Patients.patient_id: _patient(table, key),
            "first_entered": first[:10], "last_changed": last[:10], "revision": revision,
        }
        for table, key, first, last, revision in found if not states[table][key].removed
    ]
    columns = ["table", "key", Patients.patient_id, "first_entered", "last_changed", "revision"]
    frame = pd.DataFrame(rows, columns=columns).sort_values(["table", "key"], ignore_index=True)
    return frame.astype({
        "table": "string", "key": "string", Patients.patient_id: "string", "revision": "Int64",
        "first_entered": "datetime64[ns]", "last_changed": "datetime64[ns]",
    })


def _patient(table: str, key: str) -> str | None:
    """The patient of a row by its key; None in a table of the service's own."""
    return json.loads(key)[0] if Patients.patient_id in TABLES[table].key else None


def broken_links(connection: Connection, trail: Table) -> Iterator[str]:
    """Every place where the chain does not hold, as a sentence."""
    previous, number = NO_HASH, 0
    for row in connection.execute(select(trail).order_by(trail.c.entry_no)).mappings():
        number += 1
        entry = dict(row)
        if entry["entry_no"] != number:
            yield f"Entry {number} of the audit trail is missing."
            number = entry["entry_no"]
        if entry["previous_hash"] != previous:
            yield f"Entry {number} of the audit trail does not follow the entry before it."
        if entry["entry_hash"] != entry_hash(entry):
            yield f"Entry {number} of the audit trail was changed after it was written."
        previous = entry["entry_hash"]


def audit_frame(connection: Connection, trail: Table) -> pd.DataFrame:
    """The trail as a table, one row a field changed (columns of `AUDIT_COLUMNS`).

    `before` and `after` are plain values, dates as ISO 8601 text, None for a blank.
    """
    rows: list[dict[str, Any]] = []
    for entry in connection.execute(select(trail).order_by(trail.c.entry_no)).mappings():
        base = {
            "entry_no": entry["entry_no"], "at": entry["at"], "by": entry["by_code"],
            "action": entry["action"], "table": entry["table_name"], "key": entry["row_key"],
            "revision": entry["revision"], "source_id": entry["source_id"],
            "source_name": entry["source_name"], "source_sha256": entry["source_sha256"],
        }
        before = json.loads(entry["before"] or "{}")
        after = json.loads(entry["after"] or "{}")
        rows += [
            {**base, "field": name, "before": before.get(name), "after": after.get(name)}
            for name in sorted(before.keys() | after.keys())
            if before.get(name) != after.get(name)
        ]
    frame = pd.DataFrame(rows, columns=list(AUDIT_COLUMNS), dtype="object")
    return frame.astype({"entry_no": "Int64", "revision": "Int64"})
