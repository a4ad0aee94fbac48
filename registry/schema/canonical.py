"""One way of writing values and rows down, so that hashes and comparisons mean something."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from registry.schema import FieldSpec

Record = dict[str, Any]


def plain_values(column: pd.Series, kind: str) -> list[Any]:
    """A typed column as plain Python values, None for a blank.

    `kind` is the field's type: int, number (float), yes/no (bool), date (datetime.date), text
    and choice (str).
    """
    if not len(column):
        return []
    blank = column.isna().to_numpy()
    if kind == "date":
        values: Iterable[Any] = pd.to_datetime(column).dt.date
    elif kind == "number":
        # Adding zero makes the negative zero a plain one.
        values = (float(value) + 0.0 for value in column)
    else:
        make = {"int": int, "yes/no": bool}.get(kind, str)
        values = (value if gone else make(value) for value, gone in zip(column, blank, strict=True))
    return [None if gone else value for value, gone in zip(values, blank, strict=True)]


def records(frame: pd.DataFrame, fields: Iterable[FieldSpec]) -> list[Record]:
    """The rows of a typed table as dictionaries of plain values, field by field in order."""
    if frame.empty:
        return []
    columns = {spec.name: plain_values(frame[spec.name], spec.type) for spec in fields}
    names = list(columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def canonical_json(value: Any) -> str:
    """JSON with sorted keys, no spaces, dates as ISO 8601: the same value, the same text."""
    return json.dumps(
        value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False,
        default=_iso,
    )


def _iso(value: Any) -> str:
    if isinstance(value, dt.date):
        return value.isoformat()
    raise TypeError(f"{value!r} has no place in a record")


def row_json(record: Mapping[str, Any]) -> str:
    """A row as canonical JSON; blanks are left out, so a field added later changes nothing."""
    return canonical_json({name: value for name, value in record.items() if value is not None})


def key_json(record: Mapping[str, Any], key: Iterable[str]) -> str:
    """A row's key as canonical JSON, a list in the order of the key fields."""
    return canonical_json([record[name] for name in key])


def sha256(text: str) -> str:
    """SHA-256 of a text in UTF-8, as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
