"""The day of the event by the hour: what is recorded in hours and minutes, what by the day only.

Hour 0 is the end of the procedure that the event followed. Hours are those recorded: from the
procedure to the onset, from the onset to its recognition and its treatment.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.cases.one_case import OneCase
from analyses.population.counted_events import LESION
from analyses.statistics.table_rows import rows_of
from registry.schema import Complications, Lesions, Patients, Resections, Sessions

MINUTES = 60.0


@dataclass(frozen=True)
class HourMark:
    """Something at an hour after the procedure; `sign`: onset, recognised, treated or another."""

    hour: float
    sign: str
    words: str


@dataclass(frozen=True)
class EventDay:
    """The hours around an event.

    procedure: what it followed; length_h: how long that took, in hours (None: not recorded);
    marks: in order of time; by_day: what is known to the day only, in words.
    """

    procedure: str
    length_h: float | None
    marks: tuple[HourMark, ...]
    by_day: tuple[str, ...]


def event_day(case: OneCase) -> EventDay | None:
    """The hours around the event to be discussed; None where no hour of onset is recorded."""
    event = case.index_event
    if event is None or pd.isna(event[Complications.hours_after]):
        return None
    onset = float(event[Complications.hours_after])
    marks = [HourMark(onset, "onset", str(event[Complications.kind]))]
    rescue = event[Complications.rescue]
    treated = "treated" if pd.isna(rescue) or rescue == "none" else f"treated: {rescue}"
    for column, sign, words in ((Complications.recognised_after_min, "recognised", "recognised"),
                                (Complications.treated_after_min, "treated", treated)):
        if pd.notna(event[column]):
            after = float(event[column])
            marks.append(HourMark(onset + after / MINUTES, sign, f"{words} {after:g} min later"))
    marks += _others(case, event)
    operated = event[Complications.phase] == "resection"
    return EventDay(
        "operation" if operated else "session", _length(case, event, operated=operated),
        tuple(sorted(marks, key=lambda mark: mark.hour)), _by_day(case, event))


def procedure_rows(case: OneCase) -> pd.DataFrame:
    """The sessions (one a lesion) of the procedure that the event belongs to; none where none.

    For a case without an embolization event: those of the last procedure before its event, or of
    the last one of all.
    """
    sessions, event = case.tables["sessions"], case.index_event
    if sessions.empty:
        return sessions
    own = case.events[case.events["key"] == _key(event)] if event is not None else case.events[:0]
    if len(own) and pd.notna(own.iloc[0]["at_session"]):
        at = own.iloc[0]
        first = sessions[(sessions[Lesions.lesion_no] == at["at_lesion"])
                         & (sessions[Sessions.session_no] == at["at_session"])]
    else:
        until = sessions if event is None else sessions[
            sessions[Sessions.session_date] <= event[Complications.onset_date]]
        first = until.sort_values([Sessions.session_date, *LESION[1:], Sessions.session_no]).tail(1)
    if first.empty:
        return pd.DataFrame(first)
    number = first.iloc[0][Sessions.procedure_no]
    shared = sessions[Sessions.procedure_no].eq(number).fillna(False) if pd.notna(number) else (
        sessions.index.isin(first.index))
    found: pd.DataFrame = sessions[shared].sort_values(Lesions.lesion_no)
    return found


def operation_of_event(case: OneCase) -> pd.Series | None:
    """The operation that an event of the resection followed: the last on or before its onset."""
    event, rows = case.index_event, case.tables["resections"]
    if event is None or event[Complications.phase] != "resection":
        return None
    rows = rows[rows[Resections.resection_date] <= event[Complications.onset_date]]
    return None if rows.empty else rows.sort_values(Resections.resection_date).iloc[-1]


def _key(event: pd.Series) -> str:
    return (f"{event[Patients.patient_id]}/{event[Lesions.lesion_no]}/"
            f"{event[Complications.complication_no]}")


def _length(case: OneCase, event: pd.Series, *, operated: bool) -> float | None:
    operation = operation_of_event(case)
    if operated:
        minutes = None if operation is None else operation[Resections.operation_min]
    else:
        rows = procedure_rows(case)
        minutes = None if rows.empty else rows[Sessions.procedure_min].max()
    return None if minutes is None or pd.isna(minutes) else float(minutes) / MINUTES


def _others(case: OneCase, event: pd.Series) -> list[HourMark]:
    """Other complications of the same procedure whose hour is recorded."""
    rows = case.all_events[(case.all_events["session_key"] == event["session_key"]).fillna(False)
                           & (case.all_events["number"] != event["number"])
                           & case.all_events[Complications.hours_after].notna()]
    return [HourMark(float(row[Complications.hours_after]), "another",
                     f"also: {row[Complications.kind]}") for row in rows_of(rows)]


def _by_day(case: OneCase, event: pd.Series) -> tuple[str, ...]:
    """Operations and death on the day of the onset or the next, whose hour nobody recorded."""
    onset = event[Complications.onset_date]
    found = [
        (row[Resections.resection_date], f"{row[Resections.urgency]} resection"
         if pd.notna(row[Resections.urgency]) else "resection")
        for row in rows_of(case.tables["resections"])]
    if pd.notna(case.patient[Patients.death_date]):
        found.append((case.patient[Patients.death_date], "death"))
    words = {0: "on the day of the onset", 1: "on the next day"}
    return tuple(f"{what} {words[(day - onset).days]}" for day, what in found
                 if (day - onset).days in words)
