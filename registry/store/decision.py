"""What is to be decided of a batch, and what has been: the plans, and who is kept out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from registry.problems.problem import Place, Problem
from registry.store.changes import TablePlan

if TYPE_CHECKING:
    import pandas as pd

Tables = Mapping[str, "pd.DataFrame"]


@dataclass
class Decision:
    """The plan of every table, and why patients (or rows without one) are kept out of it."""

    plans: dict[str, TablePlan]
    problems: list[Problem] = field(default_factory=list)
    notices: list[Problem] = field(default_factory=list)
    patients_out: set[str] = field(default_factory=set)
    rows_out: dict[str, set[str]] = field(default_factory=dict)

    def keep_out(self, table: str, patient: str | None, key: str, problem: Problem) -> None:
        """Keep a patient out, or one row of a table that belongs to no patient."""
        self.problems.append(problem)
        if patient is None:
            self.rows_out.setdefault(table, set()).add(key)
        else:
            self.patients_out.add(patient)


@dataclass(frozen=True)
class Incoming:
    """A batch's tables, typed, and where each row (by its key) stood in the source."""

    tables: Tables
    places: dict[str, dict[str, Place | None]]
