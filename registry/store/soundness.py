"""Whether the audit trail and the tables are as the registry left them."""

from __future__ import annotations

from sqlalchemy import Connection

from registry.schema import TABLES
from registry.schema.canonical import key_json, records, row_json
from registry.store.guards import missing_guards
from registry.store.row_writing import read_tables
from registry.store.sql import SqlTables
from registry.store.trail import broken_links, last_contents


def breaks(connection: Connection, sql: SqlTables) -> list[str]:
    """Every sign of tampering as a sentence; nothing where all holds.

    The end of the trail cannot witness against itself: entries cut off together with their
    rows and guards would not show here, but in the entry count and hash that every freeze
    notes down.
    """
    found = list(broken_links(connection, sql.trail))
    found += [
        f"The guard {name} of the audit trail is missing; the trail could have been changed."
        for name in missing_guards(connection)
    ]
    return found + _strange_rows(connection, sql)


def _strange_rows(connection: Connection, sql: SqlTables) -> list[str]:
    expected = {
        place: content for place, content in last_contents(connection, sql.trail).items()
        if content is not None
    }
    found = []
    for name, frame in read_tables(connection, sql).items():
        spec = TABLES[name]
        for row in records(frame, spec.fields):
            key = key_json(row, spec.key)
            content = expected.pop((name, key), None)
            if content is None:
                found.append(f"The row {key} of {name} is not in the audit trail.")
            elif content != row_json(row):
                found.append(f"The row {key} of {name} is not as the audit trail left it.")
    found += [
        f"The row {key} of {table} is in the audit trail and no longer in its table."
        for table, key in expected
    ]
    return found
