"""Errors in the order of dates: presentation, sessions, death."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, bring, day, sure
from registry.rules.finding import Hits, Rule, Tables, error, family
from registry.rules.known_dates import earliest
from registry.rules.words import column, sheet
from registry.schema import (
    Complications,
    FollowUps,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)

DATED = {
    "sessions": Sessions.session_date,
    "resections": Resections.resection_date,
    "radiosurgeries": Radiosurgeries.radiosurgery_date,
    "complications": Complications.onset_date,
    "follow_ups": FollowUps.follow_up_date,
}
DEATH_DATE = f"{column('patients', Patients.death_date)} in {sheet('patients')}"


def _before_presentation(table: str, field: str) -> Rule:
    def look(tables: Tables) -> Hits:
        columns = [Patients.presentation_date, Patients.presentation_date_known_to]
        rows = bring(tables[table], tables["patients"], [Patients.patient_id], columns)
        first = earliest(
            rows[Patients.presentation_date], rows[Patients.presentation_date_known_to]
        )
        rows = rows[sure(rows[field] < first)]
        known_to = rows[Patients.presentation_date_known_to].fillna("day")
        found = (
            day(rows[field])
            + ", before the presentation on "
            + day(rows[Patients.presentation_date])
            + " (known to the "
            + known_to
            + ")"
        )
        return Hits(
            table, rows, field, found, "a date not before the patient's presentation",
            "correct this date, or the date of presentation and how precisely it is known",
        )

    return Rule("dated before presentation", "error", look)


@error("session before a lower-numbered one")
def session_out_of_order(tables: Tables) -> Hits:
    """A session dated before a lower-numbered session of the same lesion."""
    rows = tables["sessions"].dropna(subset=[*LESION, Sessions.session_no, Sessions.session_date])
    rows = rows.sort_values([*LESION, Sessions.session_no], kind="stable")
    latest_yet = rows.groupby(LESION, sort=False)[Sessions.session_date].cummax()
    lower = latest_yet.groupby([rows[name] for name in LESION], sort=False).shift()
    early = sure(rows[Sessions.session_date] < lower)
    rows, lower = rows[early].sort_index(), lower[early].sort_index()
    found = day(rows[Sessions.session_date]) + ", before a lower-numbered session on " + day(lower)
    return Hits(
        "sessions", rows, Sessions.session_date, found,
        "sessions of a lesion numbered in the order of their dates",
        "correct the date, or number the lesion's sessions in order",
    )


def _after_death(table: str, field: str, what: str) -> Rule:
    def look(tables: Tables) -> Hits:
        rows = bring(
            tables[table], tables["patients"], [Patients.patient_id], [Patients.death_date]
        )
        late = sure(rows[field] > rows[Patients.death_date])
        if table == "follow_ups":
            late &= sure(rows[FollowUps.mrs] < 6)
        rows = rows[late]
        found = f"{what} on " + day(rows[field]) + ", after the death on " + day(
            rows[Patients.death_date]
        )
        return Hits(
            table, rows, field, found, "nothing done with the patient after the date of death",
            "correct this date or the date of death",
        )

    return Rule("after death", "error", look)


def dead_without_date(rows: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Those of `rows` whose patient is in the registry and has no date of death."""
    patients = tables["patients"].assign(_known=True)
    rows = bring(rows, patients, [Patients.patient_id], [Patients.death_date, "_known"])
    return rows[sure(rows["_known"]) & rows[Patients.death_date].isna()]


@error("death without a date")
def dead_at_follow_up(tables: Tables) -> Hits:
    """mRS 6 at a follow-up, and no date of death."""
    visits = tables["follow_ups"]
    return Hits(
        "follow_ups", dead_without_date(visits[sure(visits[FollowUps.mrs] == 6)], tables), "mrs",
        "mRS 6 (dead), and the patient has no date of death",
        "a date of death on the patient's row", f"enter {DEATH_DATE}, or correct the mRS",
    )


@error("death without a date")
def dead_from_complication(tables: Tables) -> Hits:
    """Death from a complication, and no date of death."""
    events = tables["complications"]
    return Hits(
        "complications",
        dead_without_date(events[sure(events[Complications.death])], tables),
        "death",
        "death from this event, and the patient has no date of death",
        "a date of death on the patient's row",
        f"enter {DEATH_DATE}, or correct the death here",
    )


@family
def dated_before_presentation() -> list[Rule]:
    """What is dated before the presentation, a rule a table."""
    return [_before_presentation(table, field) for table, field in DATED.items()]


@family
def dated_after_death() -> list[Rule]:
    """What only the living have, dated after the death, a rule a table."""
    return [
        _after_death("sessions", Sessions.session_date, "a session"),
        _after_death("resections", Resections.resection_date, "an operation"),
        _after_death("follow_ups", FollowUps.follow_up_date, "a visit of a living patient"),
    ]
