"""Dates known only to a month or a year, compared at the precision known."""

from __future__ import annotations

import pandas as pd

# The codes of pandas periods for each precision; a blank precision means the day is known.
_PERIODS = {"day": "D", "month": "M", "year": "Y"}


def earliest(dates: pd.Series, known_to: pd.Series) -> pd.Series:
    """The first day each date can be: itself, the first of its month, or of its year.

    A date known only to an interval (any other precision) has none and gives a blank.
    """
    return _edge(dates, known_to, "start")


def latest(dates: pd.Series, known_to: pd.Series) -> pd.Series:
    """The last day each date can be: itself, the last of its month, or of its year."""
    return _edge(dates, known_to, "end")


def _edge(dates: pd.Series, known_to: pd.Series, side: str) -> pd.Series:
    precision = known_to.fillna("day")
    edge = pd.Series(pd.NaT, index=dates.index, dtype="datetime64[ns]")
    for name, code in _PERIODS.items():
        rows = precision == name
        periods = dates[rows].dt.to_period(code)
        edge[rows] = getattr(periods.dt, f"{side}_time").dt.normalize()
    return edge
