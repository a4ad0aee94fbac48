"""Queries on bleeds that may be one: two rows within a week, and no link between them."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, day, has_match, sure
from registry.rules.finding import Hits, Tables, query
from registry.rules.what_happened import BLEED
from registry.rules.words import column, sheet
from registry.schema import Complications, Haemorrhages

SAME_BLEED_DAYS = 7
"""Bleeds of a lesion no more days apart may be one (common practice, no source); the analyses
count them as one."""
EVENT = [*LESION, Complications.complication_no]


def _dated(tables: Tables) -> pd.DataFrame:
    """Bleeds whose day is known."""
    bleeds = tables["haemorrhages"].dropna(subset=[*LESION, Haemorrhages.haemorrhage_date])
    return bleeds[sure(bleeds[Haemorrhages.date_known_to] == "day")]


@query("one bleed in two tables?")
def bleed_not_linked(tables: Tables) -> Hits:
    """A bleed, and a complication that is one within 7 days of it, and neither names the other."""
    bleeds, events = _dated(tables), tables["complications"].dropna(subset=EVENT)
    bleeds = bleeds[bleeds[Complications.complication_no].isna()]
    events = events[
        sure(events[Complications.kind] == BLEED)
        & ~has_match(events, tables["haemorrhages"], EVENT)
    ]
    pairs = bleeds[[*LESION, Haemorrhages.haemorrhage_date]].reset_index(names="_index").merge(
        events[[*EVENT, Complications.onset_date]], on=LESION)
    apart = (pairs[Complications.onset_date] - pairs[Haemorrhages.haemorrhage_date]).dt.days.abs()
    pairs = pairs.assign(_apart=apart)[sure(apart <= SAME_BLEED_DAYS)]
    nearest = pairs.sort_values("_apart", kind="stable").drop_duplicates("_index").set_index(
        "_index")
    rows = bleeds[bleeds.index.isin(nearest.index)]
    nearest = nearest.reindex(rows.index)
    return Hits(
        "haemorrhages", rows, Complications.complication_no,
        "a bleed on " + day(rows[Haemorrhages.haemorrhage_date]) + ", and one among the "
        "complications on " + day(nearest[Complications.onset_date]) + ", not linked",
        f"the number of the complication that is the same bleed, in {sheet('haemorrhages')}",
        "enter the number under " + column("haemorrhages", Complications.complication_no)
        + "; if they were two, give each a row here",
    )


@query("two bleeds within a week")
def bleeds_within_a_week(tables: Tables) -> Hits:
    """Two bleeds of one lesion within 7 days that are not said to be two.

    Said to be two: each is a complication of its own, or a spontaneous bleed was followed by one
    from a procedure.
    """
    rows = _dated(tables).sort_values([*LESION, Haemorrhages.haemorrhage_date], kind="stable")
    by = rows.groupby(LESION, sort=False)
    before = by[[Haemorrhages.haemorrhage_date, Haemorrhages.cause,
                 Complications.complication_no]].shift()
    apart = (rows[Haemorrhages.haemorrhage_date] - before[Haemorrhages.haemorrhage_date]).dt.days
    each = sure(rows[Complications.complication_no] != before[Complications.complication_no])
    then_procedure = sure(before[Haemorrhages.cause] == "spontaneous") & sure(
        rows[Haemorrhages.cause] == "a procedure")
    rows = rows.assign(_before=before[Haemorrhages.haemorrhage_date])
    rows = rows[sure(apart <= SAME_BLEED_DAYS) & ~each & ~then_procedure].sort_index()
    return Hits(
        "haemorrhages", rows, Haemorrhages.haemorrhage_date,
        "bleeds on " + day(rows["_before"]) + " and on " + day(rows[Haemorrhages.haemorrhage_date]),
        f"one row a bleed; two of one lesion within {SAME_BLEED_DAYS} days count as one",
        "delete the row that is a copy, or correct a date; two bleeds may stay",
    )
