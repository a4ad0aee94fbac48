"""Queries on events and treatments that do not fit each other in time or in kind."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import SESSION, bring, day, figure, sure
from registry.rules.deaths_and_life import signs_of_death
from registry.rules.finding import Hits, Tables, query
from registry.rules.what_happened import treatment_days
from registry.rules.words import column, sheet
from registry.schema import Complications, Injections, Patients, Sessions

WINDOW_DAYS = 30
"""An embolization complication begins within 30 days of its session (as the phase has it)."""
DEATH_DAYS = 1
"""The day of a treatment and the next: within 24 hours, the clock not being recorded (common
practice, no source)."""
OUTFLOW = "outflow vein occlusion"


@query("event long after its session")
def event_long_after(tables: Tables) -> Hits:
    """An event that began more than 30 days after the session it names."""
    rows = bring(tables["complications"], tables["sessions"], SESSION, [Sessions.session_date])
    days = (rows[Complications.onset_date] - rows[Sessions.session_date]).dt.days
    late = sure(days > WINDOW_DAYS)
    rows, days = rows[late], days[late]
    return Hits(
        "complications", rows, Sessions.session_no,
        "onset on " + day(rows[Complications.onset_date]) + ", " + figure(days)
        + " days after the session on " + day(rows[Sessions.session_date]),
        f"a session no more than {WINDOW_DAYS} days before its event",
        "correct the session or the onset, or leave the session blank; a later event is one "
        "between treatments or at follow-up",
    )


@query("death after treatment without an event")
def death_without_event(tables: Tables) -> Hits:
    """A death on the day of a treatment or the day after, and no event that the patient died of."""
    events = tables["complications"]
    fatal = pd.DataFrame(signs_of_death(events)).any(axis=1)
    told = set(events.loc[fatal, Patients.patient_id].dropna())
    dead = tables["patients"]
    dead = dead[dead[Patients.death_date].notna() & ~dead[Patients.patient_id].isin(told)]
    pairs = dead[[Patients.patient_id, Patients.death_date]].reset_index(names="_index").merge(
        treatment_days(tables), on=Patients.patient_id)
    after = (pairs[Patients.death_date] - pairs["day"]).dt.days
    treated = pairs[after.between(0, DEATH_DAYS)].groupby("_index")["day"].max()
    rows = dead[dead.index.isin(treated.index)]
    return Hits(
        "patients", rows, Patients.death_date,
        "death on " + day(rows[Patients.death_date]) + ", treated on "
        + day(treated.reindex(rows.index)) + ", and no event with a death",
        f"a row of {sheet('complications')} for what the patient died of, whatever its cause",
        "add the event with its death and its attribution, or correct the date of death",
    )


@query("vein closed on purpose, and an event")
def intended_closure_as_event(tables: Tables) -> Hits:
    """An outflow vein occlusion among the events of a session that closed a vein on purpose.

    Where the event names its injection, that injection alone is asked.
    """
    events, injections = tables["complications"], tables["injections"]
    meant = injections[sure(injections[Injections.venous_occlusion_intended])].dropna(
        subset=[*SESSION, Injections.injection_no])
    rows = events[sure(events[Complications.kind] == OUTFLOW)]
    pairs = rows[[*SESSION, Injections.injection_no]].reset_index(names="_index").merge(
        meant[[*SESSION, Injections.injection_no]], on=SESSION, suffixes=("", "_meant"))
    named, other = pairs[Injections.injection_no], pairs[f"{Injections.injection_no}_meant"]
    same = sure(named.isna()) | sure(named == other)
    rows = rows[rows.index.isin(pairs.loc[same, "_index"])]
    intended = column("injections", Injections.venous_occlusion_intended)
    return Hits(
        "complications", rows, Complications.kind,
        f"{OUTFLOW}, and {intended} is yes in that session",
        "closing a vein on purpose is no complication",
        "correct the injection, or delete the event; what followed the closure (a bleed, a "
        "stroke) is an event of its own kind",
    )
