"""Everything dated of one patient, a line each, with its day: for the service's own eyes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from analyses.cases.case_events import DEFICITS
from analyses.cases.one_case import OneCase, one_case
from analyses.population.counted_events import SESSION
from analyses.population.unit_frames import Units
from analyses.statistics.table_rows import rows_of
from analyses.words.recorded_value import recorded
from registry.schema import (
    Complications,
    Contacts,
    FollowUps,
    Haemorrhages,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)

LANES = ("Embolization", "Operation", "Event", "Follow-up")


@dataclass(frozen=True)
class CourseLine:
    """One line: the day and how well it is known, where the time line draws it, in words.

    harm: an event, or an operation that left a deficit.
    """

    day: date
    lane: str
    what: str
    told: str
    known_to: str = "day"
    deficit: bool = False

    @property
    def harm(self) -> bool:
        return self.lane == "Event" or self.deficit


@dataclass(frozen=True)
class PatientCourse:
    """The course of one patient, oldest line first. who: the patient in a line."""

    code: str
    who: str
    lines: tuple[CourseLine, ...]


def patient_course(units: Units, code: str) -> PatientCourse:
    """The course of a patient by study code. Raises CaseError, in words, as `one_case` does."""
    case = one_case(units, code)
    found = [*_treatments(case), *_events(case), *_visits(case)]
    person = case.patient
    who = (f"{recorded(person[Patients.age_y])} years at presentation, {person[Patients.sex]}; "
           f"presentation: {person[Patients.presentation]}, "
           f"{_day(person[Patients.presentation_date])}; mRS before treatment "
           f"{recorded(person[Patients.mrs_before])}")
    return PatientCourse(code, who, tuple(sorted(
        found, key=lambda line: (line.day, LANES.index(line.lane), line.what))))


def _treatments(case: OneCase) -> Iterator[CourseLine]:
    made = case.tables["injections"].groupby(SESSION).size()
    for row in rows_of(case.tables["sessions"]):
        count = int(made.get(tuple(row[name] for name in SESSION), 0))
        told = [f"intent {recorded(row[Sessions.intent])}", f"injections: {count}",
                f"occlusion {recorded(row[Sessions.occlusion_after_pct])} %"]
        yield CourseLine(_day(row[Sessions.session_date]), "Embolization",
                         f"Session {row[Sessions.session_no]}{_lesion(case, row)}",
                         ", ".join(told))
    for row in rows_of(case.tables["resections"]):
        yield CourseLine(
            _day(row[Resections.resection_date]), "Operation", f"Resection{_lesion(case, row)}",
            f"{recorded(row[Resections.urgency])}; result {recorded(row[Resections.result])}; new "
            f"deficit {recorded(row[Resections.deficit])}",
            deficit=row[Resections.deficit] in DEFICITS)
    for row in rows_of(case.tables["radiosurgeries"]):
        yield CourseLine(
            _day(row[Radiosurgeries.radiosurgery_date]), "Operation",
            f"Radiosurgery{_lesion(case, row)}",
            f"margin dose {recorded(row[Radiosurgeries.margin_dose_gy])} Gy")


def _events(case: OneCase) -> Iterator[CourseLine]:
    for row in rows_of(case.tables["complications"]):
        yield CourseLine(
            _day(row[Complications.onset_date]), "Event",
            f"{str(row[Complications.kind]).capitalize()}{_lesion(case, row)}",
            f"phase {recorded(row[Complications.phase])}; deficit "
            f"{recorded(row[Complications.deficit])}; attribution "
            f"{recorded(row[Complications.attribution])}"
            + ("; died of it" if row[Complications.death] is True else ""))
    for row in rows_of(case.tables["haemorrhages"]):
        linked = row[Haemorrhages.complication_no]
        yield CourseLine(
            _day(row[Haemorrhages.haemorrhage_date]), "Event", f"Bleed{_lesion(case, row)}",
            f"cause {recorded(row[Haemorrhages.cause])}"
            + ("" if pd.isna(linked) else f"; the same as complication {linked}"),
            recorded(row[Haemorrhages.date_known_to]))
    died = case.patient[Patients.death_date]
    if pd.notna(died):
        yield CourseLine(_day(died), "Event", "Death",
                         f"cause {recorded(case.patient[Patients.death_cause])}")


def _visits(case: OneCase) -> Iterator[CourseLine]:
    for row in rows_of(case.tables["follow_ups"]):
        imaged = recorded(row[FollowUps.imaging])
        seen = "" if imaged == "none" else f"; {imaged}: {recorded(row[FollowUps.occlusion])}"
        yield CourseLine(_day(row[FollowUps.follow_up_date]), "Follow-up",
                         f"Visit{_lesion(case, row)}", f"mRS {recorded(row[FollowUps.mrs])}{seen}")
    tries = case.tables.get("contacts")
    for row in rows_of(tries) if tries is not None else ():
        yield CourseLine(_day(row[Contacts.contact_date]), "Follow-up",
                         f"Try {row[Contacts.try_no]}",
                         f"{recorded(row[Contacts.how])}: {row[Contacts.result]}")


def _lesion(case: OneCase, row: dict[str, Any]) -> str:
    return case.lesion_words(row[Lesions.lesion_no])


def _day(value: Any) -> date:
    return pd.Timestamp(value).date()
