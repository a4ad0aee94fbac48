"""How far two blinded readers of the same events agree, question by question."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.population.counted_events import LESION
from analyses.statistics.agreement.two_readers import cohen_kappa, gwet_ac1
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.clustered import clustered_proportion
from registry.schema import TABLES, EventReviews, Patients

EVENT = [*LESION, EventReviews.event_of, EventReviews.event_no]
QUESTIONS = (
    EventReviews.cause_embolization, EventReviews.cause_resection,
    EventReviews.cause_radiosurgery, EventReviews.cause_natural_history,
    EventReviews.preventable, EventReviews.severity,
)
FEWEST_EVENTS = 20
"""Fewer events read by two give counts alone: the intervals of 10 held the truth in as few as
86 % of simulated sets, those of 20 in 90 % or more (tests/reference/coverage_agreement.md)."""


@dataclass(frozen=True)
class Agreement:
    """Two readers' agreement on one question of the review.

    question: its label; alike: the share of events on which they said the same; kappa and ac1:
    None below FEWEST_EVENTS.
    """

    question: str
    alike: Estimate
    kappa: Estimate | None
    ac1: Estimate | None


def readers_agree(reviews: pd.DataFrame) -> tuple[Agreement, ...]:
    """The agreement on every question that two blinded readers answered for any event.

    reviews: the table event_reviews. Of an event with more than two blinded readers the first two
    by code count; a question that one of them left blank is not compared.
    """
    pairs = _pairs(reviews)
    return tuple(_agreement(question, rows) for question in QUESTIONS
                 if len(rows := pairs.dropna(subset=[f"{question}_1", f"{question}_2"])))


def _pairs(reviews: pd.DataFrame) -> pd.DataFrame:
    """One row an event with two blinded readers: the answers of each as QUESTION_1 and _2."""
    blinded = reviews[reviews[EventReviews.blinded].fillna(False).astype(bool)]
    blinded = blinded.sort_values([*EVENT, EventReviews.reader])
    turn = blinded.groupby(EVENT).cumcount()
    first, second = (blinded[turn == number][[*EVENT, *QUESTIONS]] for number in (0, 1))
    return first.merge(second, on=EVENT, suffixes=("_1", "_2"))


def _agreement(question: str, rows: pd.DataFrame) -> Agreement:
    spec = TABLES["event_reviews"].by_name[question]
    first, second = (rows[f"{question}_{n}"].astype(str).tolist() for n in (1, 2))
    patients = rows[Patients.patient_id].tolist()
    group = {"question": spec.label}
    alike = clustered_proportion(
        [a == b for a, b in zip(first, second, strict=True)], patients,
        id="review.alike", unit="event", group=group)
    alike = replaced(alike, label="Judged alike by both readers")
    if len(rows) < FEWEST_EVENTS:
        return Agreement(spec.label, alike, None, None)
    kappa, ac1 = (
        replaced(coefficient(first, second, patients, classes=spec.values, unit="event",
                             id=f"review.{name}"), group=group, label=label)
        for coefficient, name, label in ((cohen_kappa, "kappa", "Cohen's kappa"),
                                         (gwet_ac1, "ac1", "Gwet's AC1")))
    return Agreement(spec.label, alike, kappa, ac1)
