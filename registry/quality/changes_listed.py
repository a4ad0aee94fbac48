"""What was changed in a registry, when, by whom and from which source: the audit trail to read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from registry.problems.sentence_error import SentenceError
from registry.quality.row_words import row_words
from registry.quality.table_file import as_csv, as_xlsx, write_new
from registry.rules.columns import rows_of
from registry.schema import TABLES

if TYPE_CHECKING:
    from registry.store.registry import Registry

COLUMNS = ("when (UTC)", "by", "what", "table", "row", "field", "before", "after", "source")


class NoChangesError(SentenceError):
    """The trail says nothing of the patient asked for."""


def changes_listed(trail: pd.DataFrame, patient: str | None = None) -> pd.DataFrame:
    """The trail in words, one row a field changed, all text (`COLUMNS`), the oldest first.

    `trail` is `Registry.audit()`; with `patient`, only that study code's rows. Raises
    NoChangesError where the trail has none of that patient.
    """
    rows = [_row(entry) for entry in rows_of(trail)
            if patient is None or _first_of_key(entry) == patient]
    if patient is not None and not rows:
        raise NoChangesError(
            f"The audit trail says nothing of {patient}; write the study code as it stands in the "
            "registry, such as N-0012.")
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype="string")


def write_changes(path: Path, registry: Registry, patient: str | None = None) -> int:
    """Write the changes as .xlsx or .csv, by the name's ending; gives how many there are.

    Raises NoChangesError as `changes_listed`, and TableFileError as `write_new`.
    """
    frame = changes_listed(registry.audit(), patient)
    write_new(path, {".xlsx": as_xlsx({"Changes": frame}), ".csv": as_csv(frame)})
    return len(frame)


def _row(entry: Mapping[str, Any]) -> tuple[str, ...]:
    table = TABLES.get(entry["table"] or "")
    field = table.by_name.get(entry["field"]) if table else None
    return (
        entry["at"], entry["by"] or "", entry["action"],
        table.label if table else entry["table"] or "", _which(entry),
        field.label if field else entry["field"],
        _value(entry["before"]), _value(entry["after"]), entry["source_name"] or "",
    )


def _which(entry: Mapping[str, Any]) -> str:
    """The row in words where it is one of a table's, its key as it stands elsewhere."""
    key = _key(entry)
    table = TABLES.get(entry["table"] or "")
    # An older version may have had another key; its values are shown as they stand.
    if table is None or len(key) != len(table.key):
        return ", ".join(_value(part) for part in key)
    return row_words(table.name, dict(zip(table.key, key, strict=True)))


def _key(entry: Mapping[str, Any]) -> list[Any]:
    found: list[Any] = json.loads(entry["key"] or "[]")
    return found


def _first_of_key(entry: Mapping[str, Any]) -> str | None:
    key = _key(entry)
    return str(key[0]) if key else None


def _value(value: Any) -> str:
    if value is None:
        return ""
    return ("no", "yes")[value] if isinstance(value, bool) else str(value)
