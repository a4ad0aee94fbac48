"""What came out of a source: rows ready to go in, rows held back, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from registry.problems.problem import Place, Problem


@dataclass(frozen=True)
class HeldRow:
    """A row that stays out until it is mended.

    `patient_id` is None where the study code itself cannot be read (such a row is held by
    itself) and in tables without one. `values` is the text of each cell by field name, safe to
    keep in the registry's holding tables: a study code that might be a name or a hospital
    number is left out of it. `cells` are the cells as they stood in the source, for the
    returned workbook only. `marks` gives each faulty field its reason, `reasons` all reasons.
    """

    table: str
    patient_id: str | None
    place: Place
    values: Mapping[str, str]
    reasons: tuple[str, ...]
    cells: Mapping[str, Any] = field(default_factory=dict)
    marks: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Batch:
    """Everything one source gave.

    `tables` has every table of the schema, typed, without the patients kept out; `places` says
    for each of its rows, in order, where it stood. `rows_read` counts the rows that were not
    blank: for every table it equals the rows in `tables` plus those in `held`. `notes` are
    sentences for the summary (hidden rows, encodings), `absent_columns` the headings that were
    not there, by table.
    """

    source_id: str
    source_kind: str
    source_name: str
    source_sha256: str
    tables: dict[str, pd.DataFrame]
    places: dict[str, list[Place]]
    problems: list[Problem] = field(default_factory=list)
    held: list[HeldRow] = field(default_factory=list)
    absent_columns: dict[str, list[str]] = field(default_factory=dict)
    absent_tables: list[str] = field(default_factory=list)
    rows_read: dict[str, int] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    @property
    def patients_held(self) -> list[str]:
        """Study codes of the patients kept out whole, sorted."""
        return sorted({row.patient_id for row in self.held if row.patient_id})
