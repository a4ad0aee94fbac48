"""A death is a death wherever it was written: an mRS of 6 is one, with or without its date.

Intake asks for the day of death where an mRS of 6 is given. A freeze made before it did can hold
a 6 beside a patient without one; read as a visit, the dead would count as seen alive.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from registry.schema import Complications, FollowUps, Patients

DEAD = 6
AFTER = {Complications.mrs_worst: 30, Complications.mrs_30d: 30, Complications.mrs_90d: 90}
"""Days after the event on which a 6 of this kind says that the patient was dead at the latest."""


def with_deaths_told(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The tables with `death_date` and an event's `death` filled where only an mRS of 6 says so.

    The day is the first by which the patient is known to be dead: that of the visit, else 30 or
    90 days after the event. An event with a 6 counts as fatal unless the death was put down to
    something other than treatment or the lesion. What was recorded is never changed.
    """
    told = days_told(tables)
    people, events = tables["patients"], tables["complications"]
    day = people[Patients.death_date].fillna(people[Patients.patient_id].map(told))
    people = people.assign(**{Patients.death_date: day})
    of_other = set(people.loc[people[Patients.death_cause].eq("other").fillna(False),
                              Patients.patient_id])
    fatal = _six(events).any(axis=1) & ~events[Patients.patient_id].isin(of_other)
    death = events[Complications.death].astype("boolean")
    return {**tables, "patients": people,
            "complications": events.assign(**{Complications.death: death.mask(fatal, True)})}


def days_told(tables: Mapping[str, pd.DataFrame]) -> pd.Series:
    """Patient → the first day by which an mRS of 6 says that they were dead."""
    events, visits = tables["complications"], tables["follow_ups"]
    six = _six(events)
    days = [pd.DataFrame({
        Patients.patient_id: events.loc[six[column], Patients.patient_id],
        "day": events.loc[six[column], Complications.onset_date] + pd.Timedelta(days=after)})
        for column, after in AFTER.items()]
    seen = visits[visits[FollowUps.mrs].eq(DEAD).fillna(False).astype(bool)]
    days.append(seen[[Patients.patient_id, FollowUps.follow_up_date]].set_axis(
        [Patients.patient_id, "day"], axis=1))
    rows = pd.concat([part for part in days if len(part)] or days[:1], ignore_index=True)
    return rows.groupby(Patients.patient_id)["day"].min()


def _six(events: pd.DataFrame) -> pd.DataFrame:
    """Whether each mRS of an event is 6, one column each."""
    return pd.DataFrame({column: events[column].eq(DEAD).fillna(False).astype(bool)
                         for column in AFTER}, index=events.index)
