"""Trials counted by calendar period."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

LETTER = {"month": "M", "quarter": "Q", "half-year": "Q"}


def count_by_period(days: Any, event: Any, period: str) -> pd.DataFrame:
    """Events and trials by month, quarter or half-year: label, first_day, events, trials.

    days: the day of each trial; event: 0 or 1. Every period between the first and the last trial
    has a row, also with 0 trials.
    """
    import pandas as pd

    when = pd.PeriodIndex(pd.to_datetime(pd.Series(days)), freq=LETTER[period])
    every = pd.period_range(when.min(), when.max(), freq=LETTER[period])
    place = (when.astype("int64") - every[0].ordinal).to_numpy()
    events = np.bincount(place, weights=np.asarray(event, float), minlength=len(every))
    trials = np.bincount(place, minlength=len(every))
    table = pd.DataFrame({"label": [_name(p) for p in every], "first_day": every.start_time,
                          "events": events.astype(int), "trials": trials})
    return _halves(table) if period == "half-year" else table


def _name(period: pd.Period) -> str:
    return f"{period.year} Q{period.quarter}" if period.freqstr.startswith("Q") else str(period)


def _halves(quarters: pd.DataFrame) -> pd.DataFrame:
    first = quarters["first_day"]
    name = [f"{day.year} H{1 if day.month <= 6 else 2}" for day in first]
    return quarters.assign(label=name).groupby("label", sort=False, as_index=False).agg(
        first_day=("first_day", "min"), events=("events", "sum"), trials=("trials", "sum"))
