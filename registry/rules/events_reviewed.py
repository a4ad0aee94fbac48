"""Rules on what was reviewed: every review finds its event, and comes after it."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, bring, day, figure, has_match, sure
from registry.rules.finding import Hits, Rule, Tables, family, query
from registry.rules.words import column, sheet
from registry.schema import (
    TABLES,
    Complications,
    ConferenceReviews,
    EventReviews,
    Haemorrhages,
    Resections,
)

EVENT_TABLES = {
    "complication": ("complications", Complications.complication_no, Complications.onset_date),
    "haemorrhage": ("haemorrhages", Haemorrhages.haemorrhage_no, Haemorrhages.haemorrhage_date),
    "resection": ("resections", Resections.resection_no, Resections.resection_date),
}
"""What a review calls an event → its table, the number and the day there."""
EVENT = [*LESION, EventReviews.event_of, EventReviews.event_no]
PARTS = [ConferenceReviews.lesion_no, ConferenceReviews.event_of, ConferenceReviews.event_no]
REVIEWED_ON = {"event_reviews": EventReviews.reviewed_on,
               "conference_reviews": ConferenceReviews.conference_date}


def all_events(tables: Tables) -> pd.DataFrame:
    """Every event that a review can name: the columns `EVENT`, and `_day`, the day it began.

    A resection stands for what the operation itself did, also where it did no harm.
    """
    return pd.concat([
        tables[table][[*LESION, number]].rename(columns={number: EventReviews.event_no}).assign(
            **{EventReviews.event_of: pd.Series(
                name, index=tables[table].index, dtype="string"), "_day": tables[table][when]})
        for name, (table, number, when) in EVENT_TABLES.items()
    ], ignore_index=True)


def _of_no_event(table: str) -> Rule:
    def look(tables: Tables) -> Hits:
        rows = tables[table]
        named = rows[EVENT].notna().all(axis=1)
        rows = rows[named & ~has_match(rows, all_events(tables), EVENT)]
        found = rows[EventReviews.event_of].astype("string") + " " + figure(
            rows[EventReviews.event_no]) + " of lesion " + figure(
            rows[EventReviews.lesion_no]) + ", which is not in the registry"
        return Hits(
            table, rows, EventReviews.event_no, found,
            f"an event of {', '.join(sheet(name) for name, *_ in EVENT_TABLES.values())}",
            "correct the event here, or add its row there",
        )

    return Rule("review of no event", "error", look)


def _before_its_event(table: str) -> Rule:
    when = REVIEWED_ON[table]

    def look(tables: Tables) -> Hits:
        rows = bring(tables[table], all_events(tables), EVENT, ["_day"])
        rows = rows[sure(rows[when] < rows["_day"])]
        found = "reviewed on " + day(rows[when]) + ", the event on " + day(rows["_day"])
        return Hits(
            table, rows, when, found, "a review on the day of its event or later",
            f"correct {column(table, when)}, or the event that is named",
        )

    return Rule("reviewed before it happened", "query", look)


@family
def reviews_of_no_event() -> list[Rule]:
    """A review that names an event which is not there, a rule a table of reviews."""
    return [_of_no_event(table) for table in REVIEWED_ON]


@family
def reviews_before_their_event() -> list[Rule]:
    """A review dated before its event, a rule a table of reviews."""
    return [_before_its_event(table) for table in REVIEWED_ON]


@query("event named in part")
def named_in_part(tables: Tables) -> Hits:
    """A case at a conference whose event is named by some of its three parts only."""
    rows = tables["conference_reviews"]
    known = rows[PARTS].notna().sum(axis=1)
    rows = rows[(known > 0) & (known < len(PARTS))]
    labels = ", ".join(TABLES["conference_reviews"].by_name[name].label for name in PARTS)
    return Hits(
        "conference_reviews", rows, ConferenceReviews.event_no, "an event named in part",
        f"all of {labels}, or none where no event was discussed", "fill in what is missing",
    )
