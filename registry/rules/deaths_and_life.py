"""Errors about death: a death without its date, and signs of life after the date of death."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import bring, day, figure, sure
from registry.rules.finding import Hits, Rule, Tables, error, family
from registry.rules.words import column, sheet
from registry.schema import (
    Complications,
    FollowUps,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)

DEAD = 6
"""The modified Rankin Scale of the dead."""
DEAD_GRADE = "V"
"""The Clavien–Dindo grade of a death (Dindo 2004)."""
MRS_OF_EVENT = (Complications.mrs_worst, Complications.mrs_30d, Complications.mrs_90d)
MRS_DAYS = {Complications.mrs_30d: (30, 7), Complications.mrs_90d: (90, 14)}
"""Days after the event, and how much earlier the scale may have been read (common practice, no
source): only a death before that contradicts a score of the living."""
DEATH_DATE = f"{column('patients', Patients.death_date)} in {sheet('patients')}"


def dead_without_date(rows: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Those of `rows` whose patient is in the registry and has no date of death."""
    patients = tables["patients"].assign(_known=True)
    rows = bring(rows, patients, [Patients.patient_id], [Patients.death_date, "_known"])
    return rows[sure(rows["_known"]) & rows[Patients.death_date].isna()]


def signs_of_death(events: pd.DataFrame) -> dict[str, pd.Series]:
    """Field of the complications → whether its value says that the patient died, row for row."""
    return {
        Complications.death: sure(events[Complications.death]),
        Complications.clavien_dindo: sure(events[Complications.clavien_dindo] == DEAD_GRADE),
        **{name: sure(events[name] == DEAD) for name in MRS_OF_EVENT},
    }


@error("death without a date")
def dead_at_follow_up(tables: Tables) -> Hits:
    """mRS 6 at a follow-up, and no date of death."""
    visits = tables["follow_ups"]
    return Hits(
        "follow_ups", dead_without_date(visits[sure(visits[FollowUps.mrs] == DEAD)], tables),
        FollowUps.mrs, "mRS 6 (dead), and the patient has no date of death",
        "a date of death on the patient's row", f"enter {DEATH_DATE}, or correct the mRS",
    )


def _dead_by(sign: str, words: str) -> Rule:
    """Events whose first sign of death is in the field `sign`, of patients without a date."""
    def look(tables: Tables) -> Hits:
        events = tables["complications"]
        signs = signs_of_death(events)
        earlier = list(signs)[: list(signs).index(sign)]
        first = signs[sign]
        for name in earlier:
            first = first & ~signs[name]
        return Hits(
            "complications", dead_without_date(events[first], tables), sign,
            f"{words}, and the patient has no date of death",
            "a date of death on the patient's row",
            f"enter {DEATH_DATE}, or correct {column('complications', sign)} here",
        )

    return Rule("death without a date", "error", look)


@family
def dead_by_event() -> list[Rule]:
    """An event that says the patient died, and no date of death; asked once a row."""
    grade = f"{column('complications', Complications.clavien_dindo)} {DEAD_GRADE} (death)"
    return [
        _dead_by(Complications.death, "death from this event"),
        _dead_by(Complications.clavien_dindo, grade),
        *(_dead_by(name, f"{column('complications', name)} {DEAD} (dead)")
          for name in MRS_OF_EVENT),
    ]


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


def _living_score_after_death(field: str) -> Rule:
    days, early = MRS_DAYS[field]

    def look(tables: Tables) -> Hits:
        rows = bring(
            tables["complications"], tables["patients"], [Patients.patient_id],
            [Patients.death_date],
        )
        read = rows[Complications.onset_date] + pd.Timedelta(days=days - early)
        rows = rows[sure(rows[field] < DEAD) & sure(rows[Patients.death_date] < read)]
        found = (
            f"{column('complications', field)} " + figure(rows[field]) + " after the event on "
            + day(rows[Complications.onset_date]) + ", death on " + day(rows[Patients.death_date])
        )
        return Hits(
            "complications", rows, field, found,
            f"mRS 6 at {days} days where the patient had died by then",
            "correct the mRS, the onset or the date of death",
        )

    return Rule("after death", "error", look)


@family
def dated_after_death() -> list[Rule]:
    """What only the living have, dated after the death, a rule a table."""
    return [
        _after_death("sessions", Sessions.session_date, "a session"),
        _after_death("resections", Resections.resection_date, "an operation"),
        _after_death("radiosurgeries", Radiosurgeries.radiosurgery_date, "radiosurgery"),
        _after_death("follow_ups", FollowUps.follow_up_date, "a visit of a living patient"),
        *(_living_score_after_death(field) for field in MRS_DAYS),
    ]
