"""Who is known to be alive, or dead, 30 days after a session; and whose outcome was seen.

A try to reach a patient that was answered (the table `contacts`) says that the patient lived on
that day, and nothing of how: it makes vital status known, never the absence of a deficit or of a
bleed. Those need a row that records how the patient was.
"""

from __future__ import annotations

import pandas as pd

from analyses.population.unit_frames import Units, once
from registry.schema import (
    Complications,
    Contacts,
    FollowUps,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)
from registry.schema.contacts import OF_THE_LIVING

WINDOW = pd.Timedelta(days=30)

CONTACTS = {
    "sessions": Sessions.session_date, "resections": Resections.resection_date,
    "radiosurgeries": Radiosurgeries.radiosurgery_date, "follow_ups": FollowUps.follow_up_date,
    "complications": Complications.onset_date,
}
"""Rows that record how the patient was on a day, or that something was done."""


def last_contact(tables: dict[str, pd.DataFrame]) -> pd.Series:
    """The last day on which it is known how each patient was (index: patient_id).

    The latest row of any kind, a deficit's day of resolution, 30 or 90 days after an event
    whose mRS was taken then, and the day of death.
    """
    days = [tables[name][[Patients.patient_id, day]].rename(columns={day: "day"})
            for name, day in CONTACTS.items()]
    events = tables["complications"]
    for column, after in ((Complications.mrs_30d, 30), (Complications.mrs_90d, 90)):
        seen = events[events[column].notna()]
        days.append(pd.DataFrame({
            Patients.patient_id: seen[Patients.patient_id],
            "day": seen[Complications.onset_date] + pd.Timedelta(days=after)}))
    days.append(
        events[[Patients.patient_id, Complications.resolved_date]].set_axis(
            [Patients.patient_id, "day"], axis=1
        )
    )
    days.append(tables["patients"][[Patients.patient_id, Patients.death_date]]
                .set_axis([Patients.patient_id, "day"], axis=1))
    rows = pd.concat(days, ignore_index=True).dropna(subset=["day"])
    last = rows.groupby(Patients.patient_id)["day"].max()
    last.update(_death_dates(tables))
    return last


def last_alive(tables: dict[str, pd.DataFrame]) -> pd.Series:
    """The last day on which each patient is known to have lived (index: patient_id).

    The last contact, or a later try to reach the patient that was answered; the day of death.
    """
    last, tries = last_contact(tables), tables.get("contacts")
    if tries is None or tries.empty:
        return last
    answered = tries[tries[Contacts.result].isin(OF_THE_LIVING)]
    days = answered.groupby(Patients.patient_id)[Contacts.contact_date].max()
    found: pd.Series = pd.concat([last, days]).groupby(level=0).max()
    found.update(_death_dates(tables))
    return found


@once
def vital_known(units: Units) -> set[str]:
    """Keys of the sessions after which vital status at 30 days is known."""
    return _known_since(units, last_alive(dict(units.tables)))


@once
def outcome_known(units: Units) -> set[str]:
    """Keys of the sessions after which it is known how the patient was at 30 days."""
    return _known_since(units, last_contact(dict(units.tables)))


def _known_since(units: Units, last: pd.Series) -> set[str]:
    """Sessions whose patient has died, or has a last day 30 days after them or later."""
    sessions = units.sessions
    died = sessions[Patients.patient_id].map(_days_of_death(units))
    known = died.notna() | (
        sessions[Patients.patient_id].map(last) >= sessions[Sessions.session_date] + WINDOW)
    return set(sessions.loc[known, "key"])


@once
def deaths_from_any_cause(units: Units) -> set[str]:
    """Keys of the sessions followed by death within 30 days, whatever it was of.

    Each death stands at one session: the latest on or before its day.
    """
    rows = units.sessions.assign(day=units.sessions[Patients.patient_id].map(_days_of_death(units)))
    rows = rows[rows["day"].notna() & (rows[Sessions.session_date] <= rows["day"])]
    latest = rows.sort_values([Sessions.session_date, "key"]).groupby(Patients.patient_id).tail(1)
    return set(latest.loc[latest["day"] <= latest[Sessions.session_date] + WINDOW, "key"])


@once
def deaths_from_an_event(units: Units) -> set[str]:
    """Keys of the sessions with a fatal event of the set, and death within 30 days of them.

    Each death stands at the session that its event is placed in.
    """
    fatal = units.events[units.events[Complications.death].fillna(False).astype(bool)]
    day = fatal[Patients.patient_id].map(_days_of_death(units))
    return set(fatal.loc[day <= fatal["at_date"] + WINDOW, "session_key"].dropna())


def _days_of_death(units: Units) -> pd.Series:
    return _death_dates(dict(units.tables))


def _death_dates(tables: dict[str, pd.DataFrame]) -> pd.Series:
    return tables["patients"].set_index(Patients.patient_id)[Patients.death_date].dropna()
