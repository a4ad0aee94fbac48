"""Queries on what a visit tells of the time before it: a bleed, a treatment, and its own place."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import day, sure
from registry.rules.finding import Hits, Tables, query
from registry.rules.what_happened import BLEED, days_of_events_and_bleeds, treatment_days
from registry.rules.words import column, sheet
from registry.schema import (
    Complications,
    FollowUps,
    Patients,
)


def _bleeds(tables: Tables) -> pd.DataFrame:
    """Every recorded bleed, in either table."""
    events = tables["complications"]
    return days_of_events_and_bleeds(
        events[sure(events[Complications.kind] == BLEED)], tables["haemorrhages"])


def _asked_from(visits: pd.DataFrame, tables: Tables, otherwise: pd.Series) -> pd.Series:
    """The day of the patient's visit before each of `visits`, of any lesion, else `otherwise`."""
    days = tables["follow_ups"][[Patients.patient_id, FollowUps.follow_up_date]].dropna()
    days = days.drop_duplicates().sort_values([Patients.patient_id, FollowUps.follow_up_date])
    days["_before"] = days.groupby(Patients.patient_id)[FollowUps.follow_up_date].shift()
    key = [Patients.patient_id, FollowUps.follow_up_date]
    return visits.join(days.set_index(key)["_before"], on=key)["_before"].fillna(otherwise)


def _nothing_between(
    visits: pd.DataFrame, start: pd.Series, days: pd.DataFrame,
) -> pd.DataFrame:
    """Those of `visits` with no row of `days` (`first`, `last`) from `start` to the visit.

    A blank start is the beginning of time.
    """
    asked = pd.DataFrame({
        Patients.patient_id: visits[Patients.patient_id], "_start": start,
        "_end": visits[FollowUps.follow_up_date], "_row": range(len(visits)),
    })
    pairs = asked.merge(days, on=Patients.patient_id)
    inside = (pairs["first"] <= pairs["_end"]) & ~(pairs["last"] < pairs["_start"])
    told = asked["_row"].isin(pairs.loc[inside, "_row"])
    return visits[~told]


@query("bled since, and no bleed")
def bled_without_row(tables: Tables) -> Hits:
    """A visit says that the patient bled since the visit before, and no row tells of a bleed.

    A bleed of another lesion of the patient is taken as the one meant. At a first visit the time
    asked about begins at the last treatment before it.
    """
    visits = tables["follow_ups"]
    visits = visits[sure(visits[FollowUps.haemorrhage_since])]
    treated = visits.reset_index(names="_index").merge(treatment_days(tables),
                                                       on=Patients.patient_id)
    treated = treated[treated["day"] < treated[FollowUps.follow_up_date]]
    last = treated.groupby("_index")["day"].max().reindex(visits.index)
    start = _asked_from(visits, tables, last)
    rows = _nothing_between(visits, start, _bleeds(tables))
    return Hits(
        "follow_ups", rows, FollowUps.haemorrhage_since,
        "a bleed since the visit before, told on " + day(rows[FollowUps.follow_up_date])
        + f", and no row of {sheet('haemorrhages')} in that time",
        "a row for every bleed",
        f"add the bleed to {sheet('haemorrhages')} (its date as far as it is known), or correct "
        "the answer",
    )


@query("treated again, and no treatment")
def treated_without_row(tables: Tables) -> Hits:
    """A visit says that the patient was treated again, and no treatment lies in that time.

    At a first visit a treatment after the first one is enough.
    """
    visits = tables["follow_ups"]
    visits = visits[sure(visits[FollowUps.treated_again])]
    days = treatment_days(tables)
    first = visits[Patients.patient_id].map(days.groupby(Patients.patient_id)["day"].min())
    start = _asked_from(visits, tables, first + pd.Timedelta(days=1))
    rows = _nothing_between(visits, start, days.assign(first=days["day"], last=days["day"]))
    return Hits(
        "follow_ups", rows, FollowUps.treated_again,
        "treated again since the visit before, told on " + day(rows[FollowUps.follow_up_date])
        + ", and no session, operation or radiosurgery in that time",
        "a row for every treatment, also one done elsewhere",
        "add the treatment, or correct the answer",
    )


@query("follow-up before the first treatment")
def visit_before_treatment(tables: Tables) -> Hits:
    """The first follow-up of a lesion lies before any treatment of the patient."""
    visits = tables["follow_ups"].dropna(subset=[FollowUps.follow_up_date])
    first = visits[Patients.patient_id].map(
        treatment_days(tables).groupby(Patients.patient_id)["day"].min())
    rows = visits.assign(_treated=first)
    rows = rows[sure(rows[FollowUps.follow_up_date] < rows["_treated"])]
    rows = rows.sort_values(FollowUps.follow_up_date, kind="stable")
    rows = rows[~rows.duplicated([Patients.patient_id, "lesion_no"])].sort_index()
    return Hits(
        "follow_ups", rows, FollowUps.follow_up_date,
        day(rows[FollowUps.follow_up_date]) + ", the first treatment on " + day(rows["_treated"]),
        "follow-up only after the first treatment",
        f"correct the date, or leave the visit out; what was found before treatment belongs under "
        f"{column('patients', Patients.mrs_before)} and the lesion",
    )
