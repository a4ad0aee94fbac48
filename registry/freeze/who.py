"""Which patients enter a freeze, and what is said of those who do not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from registry.schema import TABLES, FollowUps, Patients
from registry.schema.vocabulary import RESEARCH_USE, RESEARCH_USE_ALLOWED
from registry.store.held_harm import rows_with_harm

PURPOSES = {
    "research": "for research: only patients whose research use is granted or waived",
    "quality": "for quality work: all patients, whatever their research use, where local rules "
    "permit",
}


@dataclass(frozen=True)
class Who:
    """The study codes that enter, and the counts of those left out (see `choose`)."""

    patients: frozenset[str]
    left_out: dict[str, Any]


def choose(tables: Mapping[str, pd.DataFrame], held: pd.DataFrame, purpose: str) -> Who:
    """Choose the patients for a purpose ("research" or "quality").

    `held` are the rows kept out (`Registry.held`). A patient of the registry whose newest rows
    are held counts by the research use written there, where that is a refusal or a withdrawal:
    an error elsewhere in the row must not delay it.

    `left_out` is {"errors": {"patients", "with_death_or_complication", "updates_held",
    "updates_with_death_or_complication", "rows_without_code"}, "research_use": {"patients":
    {value: count}, "with_death_or_complication"}}.
    """
    use = _research_use(tables["patients"], held)
    excluded = use[~use.isin(RESEARCH_USE_ALLOWED)] if purpose == "research" else use.iloc[:0]
    harmed = harmed_patients(tables)
    by_value = excluded.value_counts()
    left_out = {
        "errors": _by_errors(set(use.index), held),
        "research_use": {
            "patients": {v: int(by_value[v]) for v in RESEARCH_USE if v in by_value},
            "with_death_or_complication": len(harmed & set(excluded.index)),
        },
    }
    return Who(frozenset(use.index.difference(excluded.index)), left_out)


def _research_use(patients: pd.DataFrame, held: pd.DataFrame) -> pd.Series:
    """Research use by study code, with a stricter one from held rows in its place."""
    use = patients.set_index(Patients.patient_id)[Patients.research_use].astype("object")
    for patient, values in _patient_rows(held):
        word = values.get(Patients.research_use, "").strip().lower()
        stricter = word in RESEARCH_USE and word not in RESEARCH_USE_ALLOWED
        if stricter and patient is not None and patient in use.index:
            use[patient] = word
    return use


def _patient_rows(held: pd.DataFrame) -> list[tuple[str | None, dict[str, str]]]:
    rows = held[held["table"] == "patients"]
    return list(zip(rows[Patients.patient_id], rows["values"], strict=True))


def harmed_patients(tables: Mapping[str, pd.DataFrame]) -> set[str]:
    """Patients with a recorded death or complication."""
    patients, visits = tables["patients"], tables["follow_ups"]
    dead = patients[Patients.death_date].notna() | patients[Patients.death_cause].notna()
    died = (visits[FollowUps.mrs] == 6).fillna(False)
    return (
        set(patients.loc[dead, Patients.patient_id]) | set(visits.loc[died, Patients.patient_id])
        | set(tables["complications"][Patients.patient_id])
    )


def _by_errors(registered: set[str], held: pd.DataFrame) -> dict[str, int]:
    coded = held[held[Patients.patient_id].notna()]
    out = set(coded[Patients.patient_id]) - registered
    tells = rows_with_harm(held)
    harmed = set(held.loc[tells, Patients.patient_id].dropna()) & out
    uncoded = held[Patients.patient_id].isna()
    people = uncoded & (held["table"] == "patients")
    found = {
        "patients": len(out) + int(people.sum()),
        "with_death_or_complication": len(harmed) + int((people & tells).sum()),
        "updates_held": len(set(coded[Patients.patient_id]) & registered),
        "rows_without_code": int((uncoded & held["table"].map(_of_patients).astype(bool)).sum()),
    }
    waits = len(set(held.loc[tells, Patients.patient_id].dropna()) & registered)
    # Named only where there are some, so that the hash of an earlier freeze stays what it was.
    return {**found, "updates_with_death_or_complication": waits} if waits else found


def _of_patients(table: str) -> bool:
    return Patients.patient_id in TABLES[table].key


def harm_waiting(left_out: Mapping[str, Any]) -> int:
    """How many patients wait, whole or with a correction, whose rows tell of a death or event.

    left_out: as `choose` counts it. While they wait, every share of harm is too low.
    """
    errors = left_out.get("errors", {})
    return int(errors.get("with_death_or_complication", 0)) + int(
        errors.get("updates_with_death_or_complication", 0))
