"""One case for a conference: its course in relative days, without code, date, site or operator.

Day 0 is the first vascular access (else the first treatment). Nothing here carries a date.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analyses.cases.case_events import case_events, gravest_first
from analyses.population.counted_events import LESION, SESSION
from analyses.population.unit_frames import Units
from analyses.statistics.table_rows import rows_of
from registry.clinical.practice_limits import PracticeLimits, injection_limits
from registry.clinical.technique import injection_technique
from registry.problems.sentence_error import SentenceError
from registry.schema import (
    Complications,
    FollowUps,
    Haemorrhages,
    Injections,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)

AGE_BAND_Y = 10


class CaseError(SentenceError, ValueError):
    """The case cannot be shown; the message is a sentence for the user."""


@dataclass(frozen=True)
class CourseEvent:
    """Something that happened: `day` counts from day 0; `lane` is where the timeline draws it.

    `injections`: how many were made, of a session.
    """

    day: int
    lane: str
    words: str
    injections: int = 0


@dataclass(frozen=True)
class MrsPoint:
    """The modified Rankin Scale on a day: 0 to 6."""

    day: int
    mrs: int


@dataclass(frozen=True)
class OneCase:
    """The rows of one patient, from every table, and the event to be discussed (if any).

    `events` are those of the set of embolization complications; `all_events` those of every
    phase (`case_events`); `index_event` is a row of these: the one asked for, else the gravest,
    then earliest.
    """

    patient: pd.Series
    lesions: pd.DataFrame
    tables: Mapping[str, pd.DataFrame]
    events: pd.DataFrame
    all_events: pd.DataFrame
    day_zero: pd.Timestamp
    index_event: pd.Series | None

    @property
    def zero_words(self) -> str:
        """What happened on day 0."""
        return "the first treatment" if self.tables["sessions"].empty else (
            "the first vascular access")

    def day(self, when: pd.Timestamp) -> int:
        """Days from day 0."""
        return int((when - self.day_zero).days)

    def lesion_words(self, lesion_no: object) -> str:
        """", lesion 2" where the case has several lesions, nothing where it has one."""
        return f", lesion {lesion_no}" if len(self.lesions) > 1 else ""


def one_case(units: Units, code: str, number: int | None = None) -> OneCase:
    """Find a case by its study code, and its event by its number (see `case_events`).

    number: None takes the gravest event of any phase. Raises CaseError, in words, where the
    freeze has no such patient, no treatment of theirs, or no such event.
    """
    people = units.tables["patients"]
    own = people[people[Patients.patient_id] == code]
    if own.empty:
        raise CaseError(
            f"There is no patient {code} here. nidusbook cases lists those there are; a freeze for "
            "research has only those whose data may be used for it, one for quality has all.")
    mine = {name: frame[frame[Patients.patient_id] == code]
            for name, frame in units.tables.items() if Patients.patient_id in frame}
    treated = units.patients[units.patients[Patients.patient_id] == code]
    if treated.empty:
        raise CaseError(f"{code} has no treatment recorded; there is nothing to show.")
    first = treated.iloc[0]
    zero = first["first_session"] if pd.notna(first["first_session"]) else first["first_treatment"]
    events = units.events[units.events[Patients.patient_id] == code]
    every = case_events(units)
    every = every[every[Patients.patient_id] == code]
    return OneCase(
        own.iloc[0], units.lesions[units.lesions[Patients.patient_id] == code], mine, events,
        every, zero, _event_of(every, code, number))


def _event_of(events: pd.DataFrame, code: str, number: int | None) -> pd.Series | None:
    if number is None:
        return None if events.empty else gravest_first(events).iloc[0]
    asked = events[events["number"] == number]
    if asked.empty:
        there = "; ".join(f"{row['number']}: {row['kind']}" for row in rows_of(events))
        raise CaseError(f"{code} has no event {number}; it has "
                        f"{there or 'none'}. Leave --event out for the gravest.")
    return asked.iloc[0]


def age_band(age: float) -> str:
    """An age as a band of ten years, 90 and over as one: `40–49`."""
    if pd.isna(age):
        return "not recorded"
    low = int(age // AGE_BAND_Y) * AGE_BAND_Y
    return "90 or over" if low >= 90 else f"{low}–{low + AGE_BAND_Y - 1}"


def course(case: OneCase) -> list[CourseEvent]:
    """Everything that has a day, in order, for the timeline."""
    found = [*_sessions(case), *_operations(case), *_events(case)]
    return sorted(found, key=lambda e: (e.day, e.lane, e.words))


def mrs_course(case: OneCase) -> list[MrsPoint]:
    """mRS before treatment (on day 0), at each follow-up, and 6 from the day of death."""
    found = []
    if pd.notna(case.patient[Patients.mrs_before]):
        found.append(MrsPoint(0, int(case.patient[Patients.mrs_before])))
    visits = case.tables["follow_ups"]
    visits = visits[visits[FollowUps.mrs].notna()]
    found += [MrsPoint(case.day(row[FollowUps.follow_up_date]), int(row[FollowUps.mrs]))
              for row in rows_of(visits)]
    if pd.notna(case.patient[Patients.death_date]):
        found.append(MrsPoint(case.day(case.patient[Patients.death_date]), 6))
    return sorted(set(found), key=lambda point: (point.day, point.mrs))


def _sessions(case: OneCase) -> list[CourseEvent]:
    made = case.tables["injections"].groupby(SESSION).size()
    found = []
    for row in rows_of(case.tables["sessions"]):
        count = int(made.get(tuple(row[name] for name in SESSION), 0))
        told = "no injection" if not count else (
            "one injection" if count == 1 else f"{count} injections")
        pct = row[Sessions.occlusion_after_pct]
        after = "" if pd.isna(pct) else f", occlusion {pct:g} %"
        found.append(CourseEvent(
            case.day(row[Sessions.session_date]), "sessions",
            f"{told}{after}{case.lesion_words(row[Lesions.lesion_no])}", count))
    return found


def _operations(case: OneCase) -> list[CourseEvent]:
    found = [
        CourseEvent(
            case.day(row[Resections.resection_date]), "operations",
            f"resection, {row[Resections.result]}{_new_deficit(row)}"
            f"{case.lesion_words(row[Lesions.lesion_no])}")
        for row in rows_of(case.tables["resections"])]
    return found + [
        CourseEvent(case.day(row[Radiosurgeries.radiosurgery_date]), "operations",
                    f"radiosurgery{case.lesion_words(row[Lesions.lesion_no])}")
        for row in rows_of(case.tables["radiosurgeries"])]


def _new_deficit(row: dict[str, Any]) -> str:
    """", new deficit: permanent" after an operation that left one, nothing after another."""
    deficit = row[Resections.deficit]
    return "" if pd.isna(deficit) or deficit == "none" else f", new deficit: {deficit}"


def _events(case: OneCase) -> list[CourseEvent]:
    """Complications, bleeds after day 0 that are no complication, and death."""
    found = [
        CourseEvent(case.day(row[Complications.onset_date]), "events",
                    str(row[Complications.kind]))
        for row in rows_of(case.tables["complications"])]
    bleeds = case.tables["haemorrhages"]
    bleeds = bleeds[
        bleeds[Complications.complication_no].isna()
        & (bleeds[Haemorrhages.haemorrhage_date] > case.day_zero)
    ]
    for row in rows_of(bleeds):
        exact = row[Haemorrhages.date_known_to] == "day"
        found.append(CourseEvent(
            case.day(row[Haemorrhages.haemorrhage_date]), "events",
            "bleed" if exact else "bleed (day not exactly known)"))
    if pd.notna(case.patient[Patients.death_date]):
        found.append(CourseEvent(case.day(case.patient[Patients.death_date]), "events", "death"))
    return found


def technique_rows(case: OneCase, limits: PracticeLimits) -> pd.DataFrame:
    """Each injection with its technique and where it stood beside the limits.

    In order of time. Columns: `day`, SESSION, injection_no, agent, agent_ml, agent_mixing_min,
    dead_space_ml, dmso_ml, injection_min, longest_pause_s, rate_ml_min, reflux_mm,
    reflux_limit_mm, retrieval, `judged` (whether the limits are about this agent), and the limit
    columns (boolean; blank where not recorded or not about this agent).
    """
    injections, sessions = case.tables["injections"], case.tables["sessions"]
    worked = injection_technique(injections, sessions)[["rate_ml_min", "push_min"]]
    judged = injection_limits(injections, sessions, limits).drop(
        columns=[*SESSION, Injections.injection_no])
    rows = injections.join(worked).join(judged)
    rows["judged"] = rows.index.isin(judged.index)
    rows = rows.merge(
        sessions[[*SESSION, Sessions.session_date, Sessions.agent_mixing_min]],
        on=SESSION,
        how="left",
    )
    rows["day"] = (rows[Sessions.session_date] - case.day_zero).dt.days
    return rows.sort_values(["day", *SESSION, Injections.injection_no], ignore_index=True)


def similar_cases(units: Units, case: OneCase) -> pd.DataFrame:
    """Earlier patients of the service with an embolization complication of the same kind.

    One row an event: `sm_grade`, `ruptured`, `intent`, `deficit`, `death`, `rescue`,
    `mechanism`; no code and no date. Earlier means with onset before the index event's.
    """
    if case.index_event is None:
        return units.events.iloc[0:0]
    index = case.index_event
    events = units.events
    rows: pd.DataFrame = events[
        (events[Complications.kind] == index[Complications.kind])
        & (events[Complications.onset_date] < index[Complications.onset_date])
        & (events[Patients.patient_id] != index[Patients.patient_id])
    ]
    about = units.lesions[[*LESION, "sm_grade", "ruptured", Sessions.intent]]
    return rows.sort_values([Complications.onset_date, "key"]).merge(about, on=LESION, how="left")

