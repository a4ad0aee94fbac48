"""Which row of a table is meant, in words."""

from __future__ import annotations

from collections.abc import Mapping

from registry.schema import TABLES


def row_words(table: str, key: Mapping[str, object]) -> str:
    """A row by its key: "N-0012, Lesion number 1, Session number 2"."""
    spec = TABLES[table]
    first, *rest = spec.key
    named = (f"{spec.by_name[name].label} {key[name]}" for name in rest)
    return ", ".join([str(key[first]), *named])
