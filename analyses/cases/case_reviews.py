"""What readers and earlier conferences held of the event to be discussed."""

from __future__ import annotations

import pandas as pd

from analyses.cases.one_case import OneCase
from registry.schema import ConferenceReviews, EventReviews, Lesions

EVENT = (Lesions.lesion_no, EventReviews.event_of, EventReviews.event_no)


def readers_of(case: OneCase) -> pd.DataFrame:
    """The rows of event_reviews about the event to be discussed, in order of the readers' codes."""
    rows = case.tables["event_reviews"]
    return rows[_about(rows, case)].sort_values(EventReviews.reader)


def conferences_of(case: OneCase) -> pd.DataFrame:
    """The rows of conference_reviews about that event, or about no event, the latest first."""
    rows = case.tables["conference_reviews"]
    blank = rows[EventReviews.event_of].isna()
    return rows[_about(rows, case) | blank].sort_values(
        [ConferenceReviews.conference_date, ConferenceReviews.review_no], ascending=False)


def _about(rows: pd.DataFrame, case: OneCase) -> pd.Series:
    event = case.index_event
    if event is None:
        return pd.Series(False, index=rows.index)
    same = pd.Series(True, index=rows.index)
    for name in EVENT:
        same &= rows[name].eq(event[name]).fillna(False).astype(bool)
    return same
