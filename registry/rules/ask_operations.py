"""Queries on operations."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import day
from registry.rules.finding import Hits, Tables, query
from registry.rules.what_happened import days_of_events_and_bleeds
from registry.rules.words import sheet
from registry.schema import Patients, Resections

EMERGENCY_DAYS = 7
"""An emergency operation follows what made it one within a week (common practice, no source)."""


@query("operation without its urgency")
def operation_without_urgency(tables: Tables) -> Hits:
    """An operation not said to be planned or an emergency."""
    rows = tables["resections"]
    rows = rows[rows[Resections.urgency].isna()]
    return Hits(
        "resections", rows, Resections.urgency, "an operation without its urgency",
        "planned or emergency for every operation", "enter it if it is in the record",
    )


@query("emergency operation without an event")
def emergency_without_event(tables: Tables) -> Hits:
    """An emergency operation, and no event or bleed on its day or in the week before."""
    rows = tables["resections"]
    rows = rows[(rows[Resections.urgency] == "emergency").fillna(False)]
    pairs = rows[[Patients.patient_id, Resections.resection_date]].reset_index(
        names="_index").merge(days_of_events_and_bleeds(
            tables["complications"], tables["haemorrhages"]), on=Patients.patient_id)
    on = pairs[Resections.resection_date]
    near = (pairs["first"] <= on) & (pairs["last"] >= on - pd.Timedelta(days=EMERGENCY_DAYS))
    rows = rows[~rows.index.isin(pairs.loc[near, "_index"])]
    return Hits(
        "resections", rows, Resections.urgency,
        "an emergency operation on " + day(rows[Resections.resection_date])
        + f", and neither a complication nor a bleed within {EMERGENCY_DAYS} days before it",
        f"a row of {sheet('complications')} or {sheet('haemorrhages')} for what made it an "
        "emergency",
        "add the event or the bleed, or correct the urgency",
    )
