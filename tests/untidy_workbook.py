"""An entry workbook as people fill it in: one fault a patient, each known.

The workbook is written by the registry's own `fill_workbook`; then cells are changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from workbook_cells import FormSheets, typed_into_a_cell
from workbook_faults import FAULTS, Fault, Outcome, Tables

from registry.intake.workbook_write import fill_workbook
from registry.schema import TABLES, Patients
from synthetic_cohort.cohort import make_cohort
from synthetic_cohort.draws import Streams


@dataclass(frozen=True)
class Damage:
    """One changed cell (or row): where, what it was, what was typed, what should come of it.

    `key` finds the row in the clean tables, `written_key` in the workbook (they differ where a
    key was damaged); `copied` says that the row stands in the workbook twice.
    """

    kind: str
    patient_id: str
    table: str
    field: str
    key: Mapping[str, Any]
    written_key: Mapping[str, Any]
    clean: Any
    typed: Any
    outcome: Outcome
    copied: bool = False


@dataclass(frozen=True)
class UntidyWorkbook:
    """The clean tables behind an untidy workbook, and every damage done."""

    path: Path
    clean: Tables
    damages: tuple[Damage, ...]

    def patients(self, outcome: Outcome) -> set[str]:
        """Study codes of the patients whose damage should have this outcome."""
        return {damage.patient_id for damage in self.damages if damage.outcome == outcome}


def untidy_workbook(path: str | Path, seed: int = 1, *, patients: int = 90) -> UntidyWorkbook:
    """Write an entry workbook with one fault in each of some forty patients.

    The other patients are clean. Raises ValueError where so few patients do not offer a row for
    every fault.
    """
    clean = make_cohort(
        patients, seed, missing_share=0.0, chart_grade_errors=0.0, complication_risk=0.2,
        icc=0.0,
    ).tables
    fill_workbook(Path(path), clean)
    sheets = FormSheets(path)
    free = _shuffled(clean["patients"][Patients.patient_id], seed)
    damages = [_do(sheets, clean, fault, free) for fault in _scarce_first(clean)]
    sheets.save()
    return UntidyWorkbook(Path(path), clean, tuple(damages))


def _shuffled(codes: pd.Series, seed: int) -> list[str]:
    order = np.argsort(Streams(seed).uniform("untidy patients", len(codes)))
    return [str(code) for code in codes.to_numpy()[order]]


def _scarce_first(clean: Tables) -> list[Fault]:
    """Faults that few rows can have choose their patient first."""
    return sorted(FAULTS, key=lambda fault: (int(fault.where(clean).sum()), fault.kind))


def _do(sheets: FormSheets, clean: Tables, fault: Fault, free: list[str]) -> Damage:
    """Put a fault into a row of a patient that has none yet, and take the patient off `free`."""
    rows = clean[fault.table][fault.where(clean)]
    places = {code: place for place, code in enumerate(free)}
    order = rows[Patients.patient_id].map(places)
    if order.notna().sum() == 0:
        raise ValueError(f'no patient is left for the fault "{fault.kind}": ask for more patients')
    row = rows.loc[order.idxmin()]
    free.remove(str(row[Patients.patient_id]))
    value = _plain(row[fault.field])
    typed = typed_into_a_cell(fault.typed(value, row))
    key = {name: _plain(row[name]) for name in TABLES[fault.table].key}
    number = sheets.rows(fault.table, key)[0]
    if fault.action == "copy":
        sheets.copy_row(fault.table, number)
    else:
        sheets.put(fault.table, number, fault.field, typed)
        sheets.forget(fault.table)
    written = {**key, fault.field: typed} if fault.field in key else key
    return Damage(fault.kind, str(row[Patients.patient_id]), fault.table, fault.field, key, written,
                  value, typed, fault.outcome, fault.action == "copy")


def _plain(value: Any) -> Any:
    """A value of a typed table as plain Python (a blank as None)."""
    if value is pd.NA or value is pd.NaT or value != value:
        return None
    return value.item() if isinstance(value, np.generic) else value


def mend_workbook(path: str | Path, damages: tuple[Damage, ...]) -> int:
    """Put the clean values back into a returned workbook; returns how many places were mended.

    Rows that stand twice are written once. Damages whose row is not in the workbook are passed
    over: they were taken in.
    """
    sheets = FormSheets(path)
    mended = 0
    for damage in damages:
        rows = sheets.rows(damage.table, damage.written_key)
        if not rows:
            continue
        if damage.copied:
            for row in rows[:0:-1]:
                sheets.remove_row(damage.table, row)
        else:
            sheets.put(damage.table, rows[0], damage.field, typed_into_a_cell(damage.clean))
            sheets.forget(damage.table)
        mended += 1
    sheets.save()
    return mended
