"""Rows that are gone while others of the same table have lost their patient.

A row whose study code was mistyped looks like two things at once: a row under a code that nobody
has, and a row that its patient does not have any more. Removing the second would lose it. So
where a source removes rows, every row of that table must first stand under one of its patients.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from registry.problems.problem import Problem
from registry.schema import TABLES, Patients

if TYPE_CHECKING:
    from registry.store.batch import Batch
    from registry.store.decision import Decision, Incoming

SHOWN = 3


def keep_losers_out(decision: Decision, batch: Batch, incoming: Incoming) -> None:
    """Keep out patients that would lose rows of a table in which the source has strays."""
    for name, plan in decision.plans.items():
        strays = _strays(name, batch, incoming) if len(plan.gone) else []
        if not strays:
            continue
        for patient, rows in plan.gone.groupby(Patients.patient_id, sort=True):
            key = str(rows.index[0])
            decision.keep_out(name, str(patient), key, _problem(name, str(patient), len(rows),
                                                                strays))


def _strays(name: str, batch: Batch, incoming: Incoming) -> list[str]:
    """Where the table's rows without a patient of this source stand."""
    if Patients.patient_id not in TABLES[name].key:
        return []
    known = set(incoming.tables["patients"][Patients.patient_id])
    known |= {row.patient_id for row in batch.held if row.table == "patients" and row.patient_id}
    held = [str(row.place) for row in batch.held
            if row.table == name and row.patient_id not in known]
    codes = incoming.tables[name][Patients.patient_id]
    places = incoming.places[name].values()
    return held + [str(place or "a row without a place")
                   for code, place in zip(codes, places, strict=True) if code not in known]


def _problem(name: str, patient: str, gone: int, strays: list[str]) -> Problem:
    label = TABLES[name].label
    more = f" and {len(strays) - SHOWN} more" if len(strays) > SHOWN else ""
    return Problem(
        "error", "rows gone while others have no patient", name, Patients.patient_id, patient, None,
        f"{gone} of this patient's rows of {label} gone from this source, and {len(strays)} of "
        f"{label} under a study code that its patients do not have "
        f"({'; '.join(strays[:SHOWN])}{more})",
        "every row under the study code of its patient before a row is removed",
        "correct the study codes of those rows, then take the source in with --replace; until "
        "then nothing of this patient is changed or removed",
    )
