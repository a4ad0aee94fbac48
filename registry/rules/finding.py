"""What a rule finds, and how a rule is written down."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import pandas as pd

from registry.rules.columns import rows_of
from registry.schema import TABLES, Patients

Severity = Literal["error", "query"]
Tables = Mapping[str, pd.DataFrame]


@dataclass(frozen=True)
class Finding:
    """One row that a rule objects to.

    `key` is the row's own key (field → value); `index` is its index label in the table that
    was checked; `field` the field to look at first. `found`, `wanted` and `mend` are words.
    """

    rule: str
    severity: Severity
    table: str
    key: dict[str, Any]
    index: Hashable
    field: str | None
    found: str
    wanted: str
    mend: str

    @property
    def patient_id(self) -> str | None:
        """The patient's study code; None for a row that belongs to no patient."""
        return self.key.get(Patients.patient_id)


@dataclass(frozen=True)
class Hits:
    """The rows of one table that a rule objects to.

    `rows` keeps the index labels of the table. `found` is a word for every row, or one for
    all of them.
    """

    table: str
    rows: pd.DataFrame
    field: str | None
    found: pd.Series | Sequence[str] | str
    wanted: str
    mend: str

    def found_words(self) -> list[str]:
        """What was found, row for row."""
        if isinstance(self.found, str):
            return [self.found] * len(self.rows)
        return [str(word) for word in self.found]


@dataclass(frozen=True)
class Rule:
    """A rule: its name, whether it is an error or a query, and the function that looks."""

    name: str
    severity: Severity
    look: Callable[[Tables], Hits] = field(repr=False)

    def findings(self, tables: Tables) -> Iterator[Finding]:
        """The rows this rule objects to, in the order of their table."""
        hits = self.look(tables)
        if hits.rows.empty:
            return
        keys = hits.rows[list(TABLES[hits.table].key)].astype("object")
        records = rows_of(keys.where(keys.notna(), None))
        for index, key, found in zip(hits.rows.index, records, hits.found_words(), strict=True):
            yield Finding(
                self.name, self.severity, hits.table, key, index, hits.field, found,
                hits.wanted, hits.mend,
            )


def error(name: str) -> Callable[[Callable[[Tables], Hits]], Rule]:
    """Make a function that looks at the tables into a rule that keeps the patient out."""
    return lambda look: Rule(name, "error", look)


def query(name: str) -> Callable[[Callable[[Tables], Hits]], Rule]:
    """Make a function that looks at the tables into a rule that asks the recorder."""
    return lambda look: Rule(name, "query", look)


@dataclass(frozen=True)
class Family:
    """Rules alike for several tables, made when they are asked for: the schema may have grown."""

    make: Callable[[], list[Rule]] = field(repr=False)


def family(make: Callable[[], list[Rule]]) -> Family:
    """Make a function that makes rules alike into a family of them."""
    return Family(make)
