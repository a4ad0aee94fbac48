"""What the fictional service looked at again: reviews by two readers, conferences, decisions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from registry.schema import (
    TABLES,
    Actions,
    Complications,
    ConferenceReviews,
    EventReviews,
    Lesions,
    Patients,
)
from registry.schema.vocabulary import PREVENTABLE
from synthetic_cohort.cohort import Cohort
from synthetic_cohort.draws import Streams
from synthetic_cohort.typed_columns import to_dates

READERS = ("RD01", "RD02")
ALIKE = 0.8
"""Chance that a reader names the class that the event was made with."""
UNTIL_REVIEW = pd.Timedelta(days=30)
CAUSE_OF_PHASE = {
    "embolization": EventReviews.cause_embolization, "resection": EventReviews.cause_resection,
    "radiosurgery": EventReviews.cause_radiosurgery,
}
LEARNT = "Agree on a limit of reflux before each injection, and stop when it is reached."


def reviews_tables(cohort: Cohort) -> dict[str, pd.DataFrame]:
    """The typed tables of event reviews, conference reviews and actions of a service."""
    from synthetic_cohort.course import LOCK

    end = pd.Timestamp(to_dates(np.array([float(LOCK)]))[0])
    events = cohort.tables["complications"]
    events = events[events[Complications.onset_date] + UNTIL_REVIEW <= end]
    rows = {
        "event_reviews": _read_twice(Streams(cohort.seed), events),
        "conference_reviews": _discussed(events),
        "actions": _decided(cohort, end),
    }
    return {name: TABLES[name].typed(pd.DataFrame(made))
            for name, made in rows.items() if made}


def _read_twice(s: Streams, events: pd.DataFrame) -> list[dict[str, Any]]:
    """Two blinded readers of every event; each errs by itself."""
    made = s.code("review preventable", (0.6, 0.3, 0.1), len(events))
    found = []
    for reader in READERS:
        right = s.chance(f"review {reader} right", ALIKE, len(events))
        other = s.code(f"review {reader} other", (1, 1, 1), len(events))
        said = np.where(right, made, other)
        sure = s.chance(f"review {reader} sure", ALIKE, len(events))
        found += [{
            **_event(event), EventReviews.reader: reader, EventReviews.blinded: True,
            EventReviews.reviewed_on: event[Complications.onset_date] + UNTIL_REVIEW,
            **_causes(event, bool(sure[number])),
            EventReviews.preventable: PREVENTABLE[said[number]],
            EventReviews.severity: event[Complications.clavien_dindo],
        } for number, event in enumerate(events.to_dict("records"))]
    return found


def _event(event: dict[str, Any]) -> dict[str, Any]:
    return {Patients.patient_id: event[Patients.patient_id],
            Lesions.lesion_no: event[Lesions.lesion_no],
            EventReviews.event_of: "complication",
            EventReviews.event_no: event[Complications.complication_no]}


def _causes(event: dict[str, Any], sure: bool) -> dict[str, str]:
    """The treatment of the event's phase, or the lesion's own course, and nothing else."""
    own = CAUSE_OF_PHASE.get(event[Complications.phase], EventReviews.cause_natural_history)
    names = (*CAUSE_OF_PHASE.values(), EventReviews.cause_natural_history)
    return {name: ("definite" if sure else "probable") if name == own else "no"
            for name in names}


def _discussed(events: pd.DataFrame) -> list[dict[str, Any]]:
    """A conference on every death and permanent deficit, a month later."""
    grave = events[events[Complications.death].fillna(False).astype(bool)
                   | events[Complications.deficit].eq("permanent").fillna(False)]
    grave = grave.sort_values([Patients.patient_id, Complications.onset_date])
    numbers = grave.groupby(Patients.patient_id).cumcount() + 1
    return [{
        **_event(event), ConferenceReviews.review_no: int(number),
        ConferenceReviews.conference_date: event[Complications.onset_date] + UNTIL_REVIEW,
        ConferenceReviews.factor_technique: event[Complications.phase] == "embolization",
        ConferenceReviews.factor_anatomy: True, ConferenceReviews.learning_points: LEARNT,
        ConferenceReviews.preventable: "possibly",
    } for event, number in zip(grave.to_dict("records"), numbers, strict=True)]


def _decided(cohort: Cohort, end: pd.Timestamp) -> list[dict[str, Any]]:
    """What was done at the change of practice, and what is still open."""
    shared = {Actions.measure: "complication.any", Actions.measure_unit: "session"}
    year = pd.DateOffset(years=1)
    found = [{
        **shared, Actions.decided_on: end - year, Actions.due_date: end, Actions.state: "open",
        Actions.action: "Read every session with reflux past the limit again, each quarter.",
        Actions.responsible: "quality lead",
    }]
    if cohort.change_date is not None:
        found.insert(0, {
            **shared, Actions.decided_on: cohort.change_date,
            Actions.due_date: cohort.change_date, Actions.state: "done",
            Actions.closed_date: cohort.change_date,
            Actions.action: "Agree on a limit of reflux before each injection.",
            Actions.responsible: "neurointerventionalist",
        })
    return [{Actions.action_no: number, **row} for number, row in enumerate(found, start=1)]
