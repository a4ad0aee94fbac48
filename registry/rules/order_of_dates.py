"""Errors in the order of dates: presentation, and the sessions among themselves."""

from __future__ import annotations

from registry.rules.columns import LESION, bring, day, sure
from registry.rules.finding import Hits, Rule, Tables, error, family
from registry.rules.known_dates import earliest
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


@family
def dated_before_presentation() -> list[Rule]:
    """What is dated before the presentation, a rule a table."""
    return [_before_presentation(table, field) for table, field in DATED.items()]
