"""Patients and events to choose a case from, the newest first. It names study codes: inside only.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analyses.cases.case_events import SEVERITY, case_events
from analyses.population.counted_events import LESION
from analyses.population.unit_frames import Units
from analyses.statistics.table_rows import rows_of
from registry.schema import Complications, ConferenceReviews, EventReviews, Patients

EVENT = [*LESION, EventReviews.event_of, EventReviews.event_no]
NO_EVENT = "no event recorded"
COLUMNS = [Patients.patient_id, "number", "event_of", "event_no", "lesion_no", "day", "phase",
           "kind", "severity", "discussed", "readers"]


@dataclass(frozen=True)
class Wanted:
    """Which of them to list: those that fit everything that is given.

    since: on this day or later; kind: these words stand in the kind; phase: of this phase;
    not_discussed: no conference has discussed it.
    """

    since: dt.date | None = None
    kind: str = ""
    phase: str = ""
    not_discussed: bool = False


def case_list(units: Units, wanted: Wanted | None = None) -> pd.DataFrame:
    """One row an event of any phase, and one a treated patient without any; the newest first.

    Columns: patient_id; number (the event's within the patient, as `--event` takes it; blank
    without one); event_of, event_no and lesion_no (as a review names it); day (of the event, else
    of the last treatment); phase; kind; severity (in words); discussed (day of the last
    conference about it, blank where none was); readers (how many reviewed it).
    """
    found = pd.concat([_events(units), _uneventful(units)], ignore_index=True)
    found = found.sort_values(["day", Patients.patient_id, "number"],
                              ascending=[False, True, True], ignore_index=True)[COLUMNS]
    return found[_fits(found, wanted or Wanted())].reset_index(drop=True)


def _fits(rows: pd.DataFrame, wanted: Wanted) -> pd.Series:
    fits = pd.Series(True, index=rows.index)
    if wanted.since is not None:
        fits &= rows["day"] >= pd.Timestamp(wanted.since)
    if wanted.kind:
        fits &= rows["kind"].str.contains(wanted.kind, case=False, regex=False)
    if wanted.phase:
        fits &= (rows["phase"] == wanted.phase).fillna(False).astype(bool)
    if wanted.not_discussed:
        fits &= rows["discussed"].isna() & rows["number"].notna()
    return fits


def _events(units: Units) -> pd.DataFrame:
    events = case_events(units)
    found = events[[*EVENT, "number", Complications.phase, Complications.kind]].assign(
        day=events[Complications.onset_date],
        severity=events["severity"].map(dict(enumerate(SEVERITY))))
    readers = units.tables["event_reviews"].groupby(EVENT).size().rename("readers")
    found = found.join(readers, on=EVENT)
    found["readers"] = found["readers"].fillna(0).astype(int)
    return found.assign(discussed=_discussed(found, units.tables["conference_reviews"]))


def _discussed(events: pd.DataFrame, reviews: pd.DataFrame) -> pd.Series:
    """The last conference that named the event, or, naming none, its patient on that day or later.
    """
    day, named = ConferenceReviews.conference_date, reviews[EVENT].notna().all(axis=1)
    of_event = events.join(reviews[named].groupby(EVENT)[day].max().rename("_of"), on=EVENT)["_of"]
    of_case = events.join(
        reviews[~named].groupby(Patients.patient_id)[day].max().rename("_of"),
        on=Patients.patient_id)["_of"]
    of_case = of_case.where(of_case >= events["day"])
    return pd.concat([of_event, of_case], axis=1).max(axis=1)


def _uneventful(units: Units) -> pd.DataFrame:
    """Treated patients without an event, by the day of their last treatment."""
    people = units.patients
    people = people[~people[Patients.patient_id].isin(case_events(units)[Patients.patient_id])]
    reviews = units.tables["conference_reviews"]
    last = reviews.groupby(Patients.patient_id)[ConferenceReviews.conference_date].max()
    return pd.DataFrame({
        Patients.patient_id: people[Patients.patient_id], "day": people["last_treatment"],
        "kind": NO_EVENT, "severity": "", "readers": 0, "phase": pd.NA,
        "discussed": people[Patients.patient_id].map(last).astype("datetime64[ns]"),
        **{name: pd.array([pd.NA] * len(people), dtype="Int64")
           for name in ("number", "event_no", "lesion_no")},
        "event_of": pd.array([pd.NA] * len(people), dtype="string"),
    })


def case_lines(rows: pd.DataFrame, most: int) -> list[str]:
    """The list as lines to print: the events, then patients without one, at most so many of each.
    """
    if rows.empty:
        return ["No patient or event fits what was asked for."]
    happened = rows["number"].notna()
    quiet = _some(rows[~happened], most)
    return [*_some(rows[happened], most),
            *(["Treated without an event recorded:", *quiet] if quiet else [])]


def kinds_there_are(rows: pd.DataFrame) -> str:
    """What --kind and --phase can find in a whole list, for who asked for one that is not in it."""
    happened = rows[rows["number"].notna()]
    kinds, phases = (sorted(happened[name].dropna().unique())
                     for name in (Complications.kind, Complications.phase))
    return (f"Kinds recorded here: {', '.join(kinds) or 'none'}; phases: "
            f"{', '.join(phases) or 'none'}.")


def _some(rows: pd.DataFrame, most: int) -> list[str]:
    lines = [_line(row) for row in rows_of(rows.head(most))]
    left = len(rows) - most
    return [*lines, *([f"… and {left} more, older ones: --since, --kind, --phase and "
                       "--not-discussed narrow the list, --most lengthens it."] if left > 0
                      else [])]


def _line(row: dict[str, Any]) -> str:
    day, discussed = row["day"], row["discussed"]
    said = "not discussed yet" if pd.isna(discussed) else f"discussed on {discussed.date()}"
    if pd.isna(row["number"]):
        return f"{day.date()}  {row['patient_id']}  last treatment; {said}"
    readers = f"; reviewed by {row['readers']}" if row["readers"] else "; not reviewed"
    return (f"{day.date()}  {row['patient_id']}  event {row['number']}: {row['kind']} "
            f"({row['phase']}), {row['severity']}; {said}{readers} [{row['event_of']} "
            f"{row['event_no']} of lesion {row['lesion_no']}]")
