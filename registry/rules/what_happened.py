"""Treatments, events and bleeds of all tables with their days, for rules that look across them."""

from __future__ import annotations

import pandas as pd

from registry.rules.finding import Tables
from registry.rules.known_dates import earliest, latest
from registry.schema import (
    Complications,
    Haemorrhages,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)

BLEED = "intracranial haemorrhage"
"""The kind of a complication that is a bleed of the lesion."""
TREATMENTS = {
    "sessions": Sessions.session_date,
    "resections": Resections.resection_date,
    "radiosurgeries": Radiosurgeries.radiosurgery_date,
}


def treatment_days(tables: Tables) -> pd.DataFrame:
    """Every treatment of every lesion: `patient_id`, `day`."""
    return pd.concat([
        tables[table][[Patients.patient_id]].assign(day=tables[table][field])
        for table, field in TREATMENTS.items()
    ], ignore_index=True).dropna()


def days_of_events_and_bleeds(events: pd.DataFrame, bleeds: pd.DataFrame) -> pd.DataFrame:
    """Rows of complications and of haemorrhages as `patient_id`, `first`, `last`.

    The first and the last day each can have been; a bleed known only to the interval between
    visits stands at its date.
    """
    date, known_to = bleeds[Haemorrhages.haemorrhage_date], bleeds[Haemorrhages.date_known_to]
    onset = events[Complications.onset_date]
    return pd.concat([
        events[[Patients.patient_id]].assign(first=onset, last=onset),
        bleeds[[Patients.patient_id]].assign(
            first=earliest(date, known_to).fillna(date), last=latest(date, known_to).fillna(date)),
    ], ignore_index=True).dropna()
