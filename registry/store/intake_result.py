"""What an intake did."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from registry.problems.problem import Problem


@dataclass(frozen=True)
class Snapshot:
    """What a registry held at one moment.

    `tables` typed and sorted by key; `held` the rows kept out; `entries` one row a row: table,
    key (JSON list), patient_id, first_entered, last_changed (days, UTC), revision;
    `audit_head` the number of entries of the audit trail and the hash of the last.
    """

    tables: dict[str, pd.DataFrame]
    held: pd.DataFrame
    entries: pd.DataFrame
    audit_head: tuple[int, str]


@dataclass(frozen=True)
class Change:
    """One field of one row that was already in the registry, before and after."""

    table: str
    key: dict[str, Any]
    field: str
    before: Any
    after: Any


@dataclass(frozen=True)
class IntakeResult:
    """What an intake did, or would do (`dry_run`).

    `added`, `revised`, `unchanged` and `removed` count rows by table. `clashes` are the
    problems for which whole patients were kept out: rows that another source gave with other
    values, and rows that break a rule only together with what the registry holds. `notices`
    ask about rows this source gave before and does not have any more. `held` counts the
    patients held back (a row without a readable study code counts as one). `changes` lists
    the fields of `revised` and `removed` rows.
    """

    added: dict[str, int]
    revised: dict[str, int]
    unchanged: dict[str, int]
    removed: dict[str, int]
    clashes: list[Problem]
    notices: list[Problem]
    held: int
    changes: list[Change]
    dry_run: bool = False
    kept_out: tuple[str, ...] = field(default=())

    @property
    def changed_anything(self) -> bool:
        """Whether a row was added, revised or removed."""
        return any(sum(counts.values()) for counts in (self.added, self.revised, self.removed))
