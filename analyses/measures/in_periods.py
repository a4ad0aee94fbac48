"""A share in periods of calendar time: each unit in the period of its day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pandas as pd

from analyses.measures.counting import share
from analyses.measures.measure import Share
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from registry.schema import Sessions

DAYS = (Sessions.session_date, "first_treatment")
"""What places a unit in time: its session, else its first treatment."""

Period = tuple[date | None, date | None]
"""First and last day, both in it; None: open at that end."""


def share_in_periods(
    one: Share, units: Units, unit: str, periods: Mapping[str, Period],
) -> tuple[Estimate, ...] | None:
    """The share in each period, its words in the group “stage”; None for units without a day.

    Through the same gate as the measure itself: where it refuses a point there are bounds.
    """
    marked = one.frame(units, unit)
    column = next((name for name in DAYS if name in marked.columns), None)
    if column is None:
        return None
    days = marked[column]
    return tuple(
        share(marked[within(days, period)], "event", id=one.id, unit=unit,
              group={"stage": words}, known=one.known, unknown=one.unknown)
        for words, period in periods.items())


def within(days: pd.Series, period: Period) -> pd.Series:
    """Which of these days lie in a period; a blank day in none."""
    first, last = period
    kept = days.notna()
    if first is not None:
        kept &= days >= pd.Timestamp(first)
    if last is not None:
        kept &= days < pd.Timestamp(last) + pd.Timedelta(days=1)
    return kept.astype(bool)
