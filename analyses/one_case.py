"""One case for a conference: its course in relative days, without code, date, site or operator.

Day 0 is the first vascular access (else the first treatment). Nothing here carries a date.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analyses.complications import permanent_or_death
from analyses.populations.events import LESION, SESSION
from analyses.populations.units import Units
from registry.practice_limits import PracticeLimits, injection_limits
from registry.technique import injection_technique

AGE_BAND_Y = 10


class CaseError(ValueError):
    """The case cannot be shown; the message is a sentence for the user."""


@dataclass(frozen=True)
class CourseEvent:
    """Something that happened: `day` counts from day 0; `lane` is where the timeline draws it."""

    day: int
    lane: str
    words: str
    grave: bool = False


@dataclass(frozen=True)
class OneCase:
    """The rows of one patient, from every table, and the event to be discussed (if any).

    `index_event` is a row of the set of embolization complications: the gravest, then earliest.
    """

    patient: pd.Series
    lesions: pd.DataFrame
    tables: Mapping[str, pd.DataFrame]
    events: pd.DataFrame
    day_zero: pd.Timestamp
    index_event: pd.Series | None


def one_case(units: Units, code: str) -> OneCase:
    """Find a case by its study code.

    Raises CaseError, in words, where the freeze has no such patient or no treatment of theirs.
    """
    people = units.tables["patients"]
    own = people[people["patient_id"] == code]
    if own.empty:
        raise CaseError(
            f"The freeze has no patient {code}. Give the study code of a patient in it; patients "
            "left out for research use are only in a freeze made for quality.")
    mine = {name: frame[frame["patient_id"] == code]
            for name, frame in units.tables.items() if "patient_id" in frame}
    treated = units.patients[units.patients["patient_id"] == code]
    if treated.empty:
        raise CaseError(f"{code} has no treatment recorded; there is nothing to show.")
    first = treated.iloc[0]
    zero = first["first_session"] if pd.notna(first["first_session"]) else first["first_treatment"]
    events = units.events[units.events["patient_id"] == code]
    return OneCase(
        own.iloc[0], units.lesions[units.lesions["patient_id"] == code], mine, events, zero,
        _gravest(events))


def _gravest(events: pd.DataFrame) -> pd.Series | None:
    if events.empty:
        return None
    rank = (permanent_or_death(events).fillna(False).astype(int) * 4
            + events["death"].fillna(False).astype(int) * 4
            + events["deficit"].ne("none").astype(int) * 2
            + events["symptomatic"].fillna(False).astype(int))
    ordered = events.assign(rank=rank).sort_values(
        ["rank", "onset_date", "key"], ascending=[False, True, True])
    return ordered.drop(columns="rank").iloc[0]


def age_band(age: float) -> str:
    """An age as a band of ten years, 90 and over as one: `40–49`."""
    if pd.isna(age):
        return "not recorded"
    low = int(age // AGE_BAND_Y) * AGE_BAND_Y
    return "90 or over" if low >= 90 else f"{low}–{low + AGE_BAND_Y - 1}"


def course(case: OneCase) -> list[CourseEvent]:
    """Everything that has a day, in order, for the timeline."""
    found: list[CourseEvent] = []
    for row in case.tables["sessions"].itertuples():
        pct = row.occlusion_after_pct
        words = "session" if pd.isna(pct) else f"session, occlusion {pct:g} %"
        found.append(_at(case, row.session_date, "sessions", words))
    for row in case.tables["resections"].itertuples():
        found.append(_at(case, row.resection_date, "operations", f"resection, {row.result}"))
    for row in case.tables["radiosurgeries"].itertuples():
        found.append(_at(case, row.radiosurgery_date, "operations", "radiosurgery"))
    for row in case.tables["complications"].itertuples():
        grave = row.deficit == "permanent" or bool(row.death is True)
        found.append(_at(case, row.onset_date, "events", str(row.kind), grave))
    for row in case.tables["follow_ups"].itertuples():
        found.append(_at(case, row.follow_up_date, "mRS", f"mRS {row.mrs}"))
    if pd.notna(case.patient["death_date"]):
        found.append(_at(case, case.patient["death_date"], "events", "death", True))
    return sorted(found, key=lambda e: (e.day, e.lane, e.words))


def technique_rows(case: OneCase, limits: PracticeLimits) -> pd.DataFrame:
    """Each injection with its technique and where it stood beside the limits.

    Columns: `day`, SESSION, injection_no, agent, agent_ml, injection_min, pauses_s,
    longest_pause_s, rate_ml_min, reflux_mm, reflux_limit_mm, venous_passage, retrieval, and the
    limit columns (boolean; blank where not recorded or not about this agent).
    """
    injections, sessions = case.tables["injections"], case.tables["sessions"]
    worked = injection_technique(injections, sessions)[["rate_ml_min", "push_min"]]
    judged = injection_limits(injections, sessions, limits).drop(
        columns=[*SESSION, "injection_no"])
    rows = injections.join(worked).join(judged)
    rows = rows.merge(sessions[[*SESSION, "session_date"]], on=SESSION, how="left")
    return rows.assign(day=(rows["session_date"] - case.day_zero).dt.days)


def similar_cases(units: Units, case: OneCase) -> pd.DataFrame:
    """Earlier patients of the service with an embolization complication of the same kind.

    One row an event: `sm_grade`, `ruptured`, `intent`, `deficit`, `death`, `rescue`,
    `mechanism`; no code and no date. Earlier means with onset before the index event's.
    """
    if case.index_event is None:
        return units.events.iloc[0:0]
    index = case.index_event
    events = units.events
    rows = events[(events["kind"] == index["kind"]) & (events["onset_date"] < index["onset_date"])
                  & (events["patient_id"] != index["patient_id"])]
    about = units.lesions[[*LESION, "sm_grade", "ruptured", "intent"]]
    return rows.sort_values(["onset_date", "key"]).merge(about, on=LESION, how="left")


def _at(case: OneCase, day: pd.Timestamp, lane: str, words: str, grave: bool = False,
        ) -> CourseEvent:
    return CourseEvent(int((day - case.day_zero).days), lane, words, grave)
