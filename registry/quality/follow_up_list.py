"""The coordinator's list: one row a patient who is due, with what was tried so far.

Whoever was seen most lately stands first, because a patient missed for a year can still be
reached when one missed for ten hardly can; those lost after the service's own rule stand last.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import pandas as pd

from registry.quality.follow_up import TREATMENTS, follow_up_of
from registry.quality.follow_up_schedule import LostRule, Schedule, default_schedule
from registry.rules.columns import sure
from registry.schema import Contacts, FollowUps, Lesions, Patients

CALL, DECLINED, FOUND_DEAD, LOST = "to be called", "declined", "found dead, date wanted", "lost"
ORDER = {CALL: 0, FOUND_DEAD: 1, DECLINED: 2, LOST: 3}
COLUMNS = [Patients.patient_id, "state", "due", "since", "days_over", "last_seen", "last_try",
           "last_result", "tries", "next_try"]
DEAD = 6
DAYS_A_MONTH = 365.25 / 12


def follow_up_list(
    tables: Mapping[str, pd.DataFrame], *, today: dt.date, schedule: Schedule | None = None,
) -> pd.DataFrame:
    """One row a living patient with a visit due or overdue on `today`.

    Columns: patient_id; state (to be called; found dead, date wanted; declined; lost); due (what,
    in words, the oldest first); since (day from which the oldest is overdue, else its due day);
    days_over (0 where nothing is overdue yet); last_seen (last treatment, living visit or
    contact that was seen); last_try and last_result of the contacts; tries (since last seen);
    next_try (the number that the next try gets).
    """
    plan = schedule or default_schedule()
    due = follow_up_of(tables, today=today, schedule=plan)
    due = due[due["state"].isin(["overdue", "due"])]
    people = tables["patients"]
    living = people.loc[people[Patients.death_date].isna(), Patients.patient_id]
    due = due[due[Patients.patient_id].isin(list(living))]
    rows = _one_row_each(due)
    rows = rows.join(_last_seen(tables), on=Patients.patient_id)
    rows = rows.join(_tried(tables["contacts"]), on=Patients.patient_id)
    rows["next_try"] = rows["next_try"].fillna(1).astype(int)
    rows["tries"] = _tries_since(rows, tables["contacts"])
    rows["state"] = _states(rows, plan.lost, pd.Timestamp(today))
    rows["_order"] = rows["state"].map(ORDER)
    rows = rows.sort_values(["_order", "last_seen", Patients.patient_id],
                            ascending=[True, False, True], ignore_index=True)
    return rows[COLUMNS]


def _one_row_each(due: pd.DataFrame) -> pd.DataFrame:
    """What is due of each patient in words, since when, and how many days over."""
    due = due.sort_values([Patients.patient_id, "until", Lesions.lesion_no, "what"])
    several = due.groupby(Patients.patient_id)[Lesions.lesion_no].transform("nunique") > 1
    words = due["what"] + (", lesion " + due[Lesions.lesion_no].astype(str)).where(several, "")
    overdue = due["state"] == "overdue"
    found = due.assign(words=words, since=due["until"].where(overdue, due["due"]))
    groups = found.groupby(Patients.patient_id, sort=True)
    return pd.DataFrame({
        "due": groups["words"].agg("; ".join), "since": groups["since"].min(),
        "days_over": groups["days_over"].max().astype(int),
    }).reset_index()


def _last_seen(tables: Mapping[str, pd.DataFrame]) -> pd.Series:
    """The last day on which each patient is known to have been seen alive."""
    visits, contacts = tables["follow_ups"], tables["contacts"]
    visits = visits[~sure(visits[FollowUps.mrs] == DEAD)]
    seen = contacts[sure(contacts[Contacts.result] == "seen")]
    days = [(visits, FollowUps.follow_up_date), (seen, Contacts.contact_date),
            *((tables[name], field) for name, field in TREATMENTS.items())]
    every = pd.concat([frame[[Patients.patient_id]].assign(last_seen=frame[field])
                       for frame, field in days])
    return every.groupby(Patients.patient_id)["last_seen"].max()


def _tried(contacts: pd.DataFrame) -> pd.DataFrame:
    """The last try of each patient, its result, and the number that the next one gets."""
    ordered = contacts.sort_values([Contacts.contact_date, Contacts.try_no])
    groups = ordered.groupby(Patients.patient_id)
    return pd.DataFrame({
        "last_try": groups[Contacts.contact_date].last(),
        "last_result": groups[Contacts.result].last(),
        "next_try": groups[Contacts.try_no].max() + 1,
    })


def _tries_since(rows: pd.DataFrame, contacts: pd.DataFrame) -> pd.Series:
    """How many tries were made after each patient was last seen."""
    tries = contacts.merge(rows[[Patients.patient_id, "last_seen"]], on=Patients.patient_id)
    later = tries[tries[Contacts.contact_date] > tries["last_seen"]]
    count = later.groupby(Patients.patient_id).size()
    return rows[Patients.patient_id].map(count).fillna(0).astype(int)


def _states(rows: pd.DataFrame, rule: LostRule, day: pd.Timestamp) -> pd.Series:
    """What is to be done about each patient; a try after which the patient was seen is over."""
    open_try = rows["tries"] > 0
    result = rows["last_result"].where(open_try)
    away = (day - rows["last_seen"]).dt.days / DAYS_A_MONTH
    lost = sure(result == "lost") | ((rows["tries"] >= rule.tries) & (away >= rule.months))
    found = pd.Series(CALL, index=rows.index).mask(lost, LOST)
    return found.mask(sure(result == "declined"), DECLINED).mask(
        sure(result == "dead"), FOUND_DEAD)
