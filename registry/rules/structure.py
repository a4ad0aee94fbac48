"""Rules on keys: every row once, and every row under its parent."""

from __future__ import annotations

from registry.rules.columns import has_match
from registry.rules.finding import Hits, Rule, Tables, family
from registry.rules.words import key_words, sheet
from registry.schema import TABLES, TableSpec


def _used_twice(spec: TableSpec) -> Rule:
    def look(tables: Tables) -> Hits:
        frame = tables[spec.name]
        key = list(spec.key)
        twice = frame[key].notna().all(axis=1) & frame.duplicated(key, keep=False)
        rows = frame[twice]
        found = key_words(rows, spec.name, key) + " stands in more than one row"
        return Hits(
            spec.name, rows, key[-1], found,
            "each row of a table once",
            "number the rows apart, or delete the one that is a copy",
        )

    return Rule("key used twice", "error", look)


def _no_parent(spec: TableSpec, parent: str) -> Rule:
    def look(tables: Tables) -> Hits:
        frame = tables[spec.name]
        key = list(spec.parent_key)
        complete = frame[key].notna().all(axis=1)
        rows = frame[complete & ~has_match(frame, tables[parent], key)]
        page = sheet(parent)
        found = key_words(rows, spec.name, key) + f" is not in {page}"
        return Hits(
            spec.name, rows, key[-1], found, f"a row of {page} that this row belongs to",
            f"add that row to {page}, or correct the code or number here",
        )

    return Rule("no parent row", "error", look)


@family
def used_twice() -> list[Rule]:
    """Keys used twice, a rule a table of the schema as it stands now."""
    return [_used_twice(spec) for spec in TABLES.values()]


@family
def no_parent() -> list[Rule]:
    """Rows without their parent, a rule a table of the schema as it stands now."""
    return [_no_parent(spec, spec.parent) for spec in TABLES.values() if spec.parent]
