"""Who is known to be alive, or dead, 30 days after a session."""

from __future__ import annotations

import pandas as pd

from analyses.population.unit_frames import Units

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


def vital_known(units: Units) -> set[str]:
    """Keys of the sessions after which vital status at 30 days is known."""
    sessions = units.sessions
    last = sessions["patient_id"].map(last_contact(dict(units.tables)))
    died = sessions["patient_id"].map(
        units.tables["patients"].set_index("patient_id")["death_date"])
    known = died.notna() | (last >= sessions["session_date"] + WINDOW)
    return set(sessions.loc[known, "key"])


def deaths_within_30_days(units: Units) -> dict[str, set[str]]:
    """Sessions followed by death within 30 days: from a complication of it, and from any cause.

    Returns estimate id → keys of sessions. Each death stands at one session: the one its
    complication is placed in, else the latest on or before the day of death.
    """
    died = units.tables["patients"].set_index("patient_id")["death_date"].dropna()
    rows = units.sessions.assign(day=units.sessions["patient_id"].map(died))
    rows = rows[rows["day"].notna() & (rows["session_date"] <= rows["day"])]
    latest = rows.sort_values(["session_date", "key"]).groupby("patient_id").tail(1)
    any_cause = latest[latest["day"] <= latest["session_date"] + WINDOW]
    fatal = units.events[units.events["death"].fillna(False).astype(bool)]
    day = fatal["patient_id"].map(died)
    fatal = fatal[day <= fatal["at_date"] + WINDOW]
    return {
        "complication.death_30d": set(fatal["session_key"].dropna()),
        "death.all_cause_30d": set(any_cause["key"]),
    }
