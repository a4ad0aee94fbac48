"""Who is known to be alive, or dead, 30 days after a session."""

from __future__ import annotations

import pandas as pd

from analyses.population.unit_frames import Units, once

WINDOW = pd.Timedelta(days=30)

CONTACTS = {
    "sessions": "session_date", "resections": "resection_date",
    "radiosurgeries": "radiosurgery_date", "follow_ups": "follow_up_date",
    "complications": "onset_date",
}
"""Rows that show that somebody was in contact with the patient on a day."""


def last_contact(tables: dict[str, pd.DataFrame]) -> pd.Series:
    """The last day on which each patient is known about (index: patient_id).

    The latest row of any kind, a deficit's day of resolution, 30 or 90 days after an event
    whose mRS was taken then, and the day of death.
    """
    days = [tables[name][["patient_id", day]].rename(columns={day: "day"})
            for name, day in CONTACTS.items()]
    events = tables["complications"]
    for column, after in (("mrs_30d", 30), ("mrs_90d", 90)):
        seen = events[events[column].notna()]
        days.append(pd.DataFrame({
            "patient_id": seen["patient_id"],
            "day": seen["onset_date"] + pd.Timedelta(days=after)}))
    days.append(events[["patient_id", "resolved_date"]].set_axis(["patient_id", "day"], axis=1))
    days.append(tables["patients"][["patient_id", "death_date"]]
                .set_axis(["patient_id", "day"], axis=1))
    rows = pd.concat(days, ignore_index=True).dropna(subset=["day"])
    last = rows.groupby("patient_id")["day"].max()
    died = tables["patients"].set_index("patient_id")["death_date"].dropna()
    last.update(died)
    return last


@once
def vital_known(units: Units) -> set[str]:
    """Keys of the sessions after which vital status at 30 days is known."""
    sessions = units.sessions
    last = sessions["patient_id"].map(last_contact(dict(units.tables)))
    died = sessions["patient_id"].map(
        units.tables["patients"].set_index("patient_id")["death_date"])
    known = died.notna() | (last >= sessions["session_date"] + WINDOW)
    return set(sessions.loc[known, "key"])


@once
def deaths_from_any_cause(units: Units) -> set[str]:
    """Keys of the sessions followed by death within 30 days, whatever it was of.

    Each death stands at one session: the latest on or before its day.
    """
    rows = units.sessions.assign(day=units.sessions["patient_id"].map(_days_of_death(units)))
    rows = rows[rows["day"].notna() & (rows["session_date"] <= rows["day"])]
    latest = rows.sort_values(["session_date", "key"]).groupby("patient_id").tail(1)
    return set(latest.loc[latest["day"] <= latest["session_date"] + WINDOW, "key"])


@once
def deaths_from_an_event(units: Units) -> set[str]:
    """Keys of the sessions with a fatal event of the set, and death within 30 days of them.

    Each death stands at the session that its event is placed in.
    """
    fatal = units.events[units.events["death"].fillna(False).astype(bool)]
    day = fatal["patient_id"].map(_days_of_death(units))
    return set(fatal.loc[day <= fatal["at_date"] + WINDOW, "session_key"].dropna())


def _days_of_death(units: Units) -> pd.Series:
    return units.tables["patients"].set_index("patient_id")["death_date"].dropna()
