"""Rules on keys: every row once, and every row under its parent."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import has_match
from registry.rules.finding import Hits, Rule, Tables
from registry.schema import TABLES, TableSpec


def key_words(rows: pd.DataFrame, key: tuple[str, ...]) -> pd.Series:
    """The key of each row in words: "N-0012, lesion_no 1, session_no 2"."""
    words = rows[key[0]].astype("string")
    for name in key[1:]:
        words = words + f", {name} " + rows[name].astype("string")
    return words


def _used_twice(spec: TableSpec) -> Rule:
    def look(tables: Tables) -> Hits:
        frame = tables[spec.name]
        key = list(spec.key)
        twice = frame[key].notna().all(axis=1) & frame.duplicated(key, keep=False)
        rows = frame[twice]
        return Hits(
            spec.name, rows, key[-1], key_words(rows, spec.key) + " stands in more than one row",
            "each row of a table once",
            "number the rows apart, or delete the one that is a copy",
        )

    return Rule("key used twice", "error", look)


def _no_parent(spec: TableSpec) -> Rule:
    def look(tables: Tables) -> Hits:
        frame = tables[spec.name]
        key = list(spec.parent_key)
        complete = frame[key].notna().all(axis=1)
        rows = frame[complete & ~has_match(frame, tables[spec.parent], key)]
        found = key_words(rows, spec.parent_key) + f" is not in {spec.parent}"
        return Hits(
            spec.name, rows, key[-1], found, f"a row of {spec.parent} that this row belongs to",
            f"add that row to {spec.parent}, or correct the code or number here",
        )

    return Rule("no parent row", "error", look)


def structure_rules() -> list[Rule]:
    """The rules on keys of every table of the schema as it stands now."""
    rules = [_used_twice(spec) for spec in TABLES.values()]
    return rules + [_no_parent(spec) for spec in TABLES.values() if spec.parent]
