"""What the database itself does to keep the audit trail append-only.

Updates and deletions are refused, and an entry may only be added behind the last one and must
carry its hash. The insert guard also stops SQLite's INSERT OR REPLACE, which deletes without
firing a delete trigger.
"""

from __future__ import annotations

from sqlalchemy import Connection

from registry.store.sql import TRAIL

REFUSAL = "the audit trail is append-only"
NO_HASH = "0" * 64

_REFUSE = f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
_SQLITE_GUARDS = {
    "audit_trail_no_update": f"BEFORE UPDATE ON {TRAIL} {_REFUSE}",
    "audit_trail_no_delete": f"BEFORE DELETE ON {TRAIL} {_REFUSE}",
    "audit_trail_in_order": f"""BEFORE INSERT ON {TRAIL}
        WHEN NEW.entry_no <> (SELECT coalesce(max(entry_no), 0) + 1 FROM {TRAIL})
          OR NEW.previous_hash <> coalesce(
            (SELECT entry_hash FROM {TRAIL} ORDER BY entry_no DESC LIMIT 1), '{NO_HASH}')
        {_REFUSE}""",
}

_POSTGRESQL_FUNCTIONS = f"""
CREATE FUNCTION audit_trail_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$;
CREATE FUNCTION audit_trail_in_order() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.entry_no <> (SELECT coalesce(max(entry_no), 0) + 1 FROM {TRAIL})
    OR NEW.previous_hash <> coalesce(
      (SELECT entry_hash FROM {TRAIL} ORDER BY entry_no DESC LIMIT 1), '{NO_HASH}')
  THEN RAISE EXCEPTION '{REFUSAL}'; END IF;
  RETURN NEW;
END $$;
"""
_POSTGRESQL_GUARDS = {
    "audit_trail_no_update": f"BEFORE UPDATE OR DELETE ON {TRAIL} FOR EACH ROW "
    "EXECUTE FUNCTION audit_trail_refuse()",
    "audit_trail_no_truncate": f"BEFORE TRUNCATE ON {TRAIL} FOR EACH STATEMENT "
    "EXECUTE FUNCTION audit_trail_refuse()",
    "audit_trail_in_order": f"BEFORE INSERT ON {TRAIL} FOR EACH ROW "
    "EXECUTE FUNCTION audit_trail_in_order()",
}


def _guards(connection: Connection) -> dict[str, str]:
    return _SQLITE_GUARDS if connection.dialect.name == "sqlite" else _POSTGRESQL_GUARDS


def put_guards(connection: Connection) -> None:
    """Set the guards on a newly made audit trail."""
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(_POSTGRESQL_FUNCTIONS)
    for name, body in _guards(connection).items():
        connection.exec_driver_sql(f"CREATE TRIGGER {name} {body}")


def missing_guards(connection: Connection) -> list[str]:
    """Names of the guards that are not in place."""
    catalogue = (
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.dialect.name == "sqlite"
        else f"SELECT tgname FROM pg_trigger WHERE tgrelid = '{TRAIL}'::regclass "
        "AND NOT tgisinternal AND tgenabled <> 'D'"
    )
    present = set(connection.exec_driver_sql(catalogue).scalars())
    return [name for name in _guards(connection) if name not in present]
