"""Rows that were in order by themselves and that the registry did not take.

They clash with what another source gave, or break a rule together with registered rows. They
are handed back like all rows that stay out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

import pandas as pd

from registry.intake.form_cells import plain
from registry.problems.cell_text import as_text
from registry.problems.problem import Place, Problem
from registry.schema import TABLES, Patients
from registry.store.batch import Batch, HeldRow
from registry.store.held_rows import IN_ORDER


def with_kept_out(
    batch: Batch, patients: Collection[str], clashes: Iterable[Problem]
) -> Batch:
    """`batch` with the rows of `patients`, and rows without a patient that clash, held.

    `clashes` are the registry's reasons. In every table the rows taken and the rows held still
    add up to the rows read.
    """
    reasons: dict[tuple[str, Place | None], list[Problem]] = {}
    for problem in clashes:
        reasons.setdefault((problem.table, problem.place), []).append(problem)
    held, tables, places = list(batch.held), {}, {}
    for name, frame in batch.tables.items():
        out = [
            bool(_patient(frame, row) in patients or (
                Patients.patient_id not in frame and (name, place) in reasons))
            for row, place in enumerate(batch.places[name])
        ]
        held += [
            _held(name, frame, row, place, reasons.get((name, place), []))
            for row, place in enumerate(batch.places[name]) if out[row]
        ]
        tables[name] = frame[[not away for away in out]].reset_index(drop=True)
        places[name] = [p for p, away in zip(batch.places[name], out, strict=True) if not away]
    order = {name: number for number, name in enumerate(TABLES)}
    held.sort(key=lambda row: (order[row.table], row.place.row or 0))
    return replace(batch, tables=tables, places=places, held=held)


def _patient(frame: pd.DataFrame, row: int) -> str | None:
    return str(frame[Patients.patient_id].iat[row]) if Patients.patient_id in frame else None


def _held(
    name: str, frame: pd.DataFrame, row: int, place: Place, problems: list[Problem]
) -> HeldRow:
    cells: Mapping[str, object] = {
        field: plain(frame[field].iat[row]) for field in frame.columns
    }
    patient = _patient(frame, row)
    return HeldRow(
        name, patient, place,
        {field: as_text(value) for field, value in cells.items() if value is not None},
        tuple(f"{p.column}: found {p.found}. To mend: {p.mend}." for p in problems)
        or (f"{IN_ORDER}; it stays out with {patient}, whose other rows the registry did not "
            "take.",),
        cells,
        {p.field: f"Found {p.found}. To mend: {p.mend}." for p in problems if p.field},
    )
