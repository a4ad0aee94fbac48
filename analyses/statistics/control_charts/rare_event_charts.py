"""g and t charts: how many trials, or how many days, lie between rare events.

Sources: Benneyan 2001, Health Care Management Science 4:305 and 4:319 (g chart, its sigma limits
and its probability limits); for the t chart the exponential distribution of waiting times, as in
Montgomery's section on rare events. Here a long gap is good news and a short one bad news.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Literal, NamedTuple

import numpy as np

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.control_charts.chart import Chart, Limits, chart_table
from analyses.statistics.control_charts.chart_arrays import counts, events, numbers
from analyses.words.estimate_text import plural

# Both tails together as in three-sigma limits of a normal chart.
ALPHA = 0.0027
LONGER = "a longer gap than chance gives: fewer events"
SHORTER = "a shorter gap than chance gives: more events"


class Gaps(NamedTuple):
    """Gaps between events, and the open one since the last event."""

    between: Floats
    since_last: float


def gaps_between_events(event: Iterable[Any]) -> Gaps:
    """Event-free trials before each event, and those since the last one (still open).

    event: 0 or 1, one entry a trial in order of time. The first gap runs from the first trial.
    A gap of 0 means two events in successive trials. Raises ValueError.
    """
    observed = events(list(event))
    places = np.flatnonzero(observed)
    if places.size == 0:
        return Gaps(np.array([]), float(observed.size))
    between = np.diff(np.concatenate([[-1], places])) - 1
    return Gaps(between.astype(float), float(observed.size - 1 - places[-1]))


def days_between_events(dates: Iterable[Any], *, start: Any, end: Any) -> Gaps:
    """Days before each event, and those from the last event to `end` (still open).

    dates: dates of events, in order; start and end: the period looked at. Raises ValueError
    where a date lies outside the period or before the one before it.
    """
    import pandas as pd

    when = pd.to_datetime(pd.Series(list(dates), dtype="object"))
    marks = [pd.Timestamp(start), *when, pd.Timestamp(end)]
    days = np.diff(np.array(marks, dtype="datetime64[D]")).astype(float)
    if (days < 0).any():
        place = int(np.flatnonzero(days < 0)[0])
        raise ValueError(
            f"dates: {marks[place + 1]:%Y-%m-%d} stands after {marks[place]:%Y-%m-%d}; "
            "dates in order, inside the period, are wanted"
        )
    return Gaps(days[:-1], float(days[-1]))


def g_chart(
    between: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
    limits: Literal["probability", "three-sigma"] = "probability",
    since_last: float | None = None,
    unit: str = "trial",
) -> Chart:
    """g chart: event-free trials between events.

    between: whole numbers from 0, one a gap, in order (see `gaps_between_events`). The centre is
    the mean. Probability limits hold all but 0.135 % of gaps in each tail of the geometric
    distribution with p = 1/(mean + 1); where even a gap of 0 is more likely than that there is
    no lower limit and a note says so. Three-sigma limits are Benneyan's mean ±
    3·sqrt(mean·(mean + 1)), the lower cut at 0. since_last: the open gap, told in the notes; it
    signals in the notes once it passes the upper limit. unit: what a trial is called.
    Raises ValueError.
    """
    value = counts(list(between), "between")

    def worked(places: Whole, setters: Whole) -> Limits:
        mean = float(value[setters].mean())
        if limits == "three-sigma":
            half = 3 * np.sqrt(mean * (mean + 1))
            return mean, max(mean - half, 0.0), mean + half
        return mean, *geometric_limits(mean)

    table = chart_table(value, worked, labels=labels, stage=stage, baseline=baseline,
                        above=LONGER, below=SHORTER)
    many = plural(unit)
    notes = [*_floor_note(table["lower"], many), *_open_note(table, since_last, many)]
    method = ("g chart, probability limits" if limits == "probability"
              else "g chart, three-sigma limits")
    return Chart("g", table, f"event-free {many} between events",
                 f"{method} (Benneyan 2001)", tuple(notes))


def t_chart(
    between: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
    since_last: float | None = None,
) -> Chart:
    """t chart: days between events, probability limits of the exponential distribution.

    between: numbers from 0, days, in order. The centre is the mean; limits are
    −mean·log(1 − 0.00135) and −mean·log(0.00135). It assumes a steady volume: where the number
    of trials a month changes, the g chart is the right one. Raises ValueError.
    """
    value = numbers(list(between), "between")
    if (value < 0).any():
        raise ValueError("between: a gap below 0 days; put the dates in order")

    def worked(places: Whole, setters: Whole) -> Limits:
        mean = float(value[setters].mean())
        return mean, -mean * np.log1p(-ALPHA / 2), -mean * np.log(ALPHA / 2)

    table = chart_table(value, worked, labels=labels, stage=stage, baseline=baseline,
                        above=LONGER, below=SHORTER)
    notes = [
        "Days between events assume a steady volume.",
        *_open_note(table, since_last, "days"),
    ]
    return Chart("t", table, "days between events",
                 "t chart, probability limits of the exponential distribution", tuple(notes))


def geometric_limits(mean: float) -> tuple[float, float]:
    """Lower and upper probability limits of a gap with this mean, counted from 0.

    A gap under the lower limit has a chance of no more than 0.135 %, and so has one above the
    upper limit. Lower is NaN where no gap is that improbable. From P(X ≤ x) = 1 − (1 − p)^(x+1).
    """
    p = 1 / (mean + 1)
    if p >= 1:
        return float("nan"), 0.0
    log_none = np.log1p(-p)
    upper = float(np.ceil(np.log(ALPHA / 2) / log_none) - 1)
    # Largest x with P(X < x) = 1 − (1 − p)^x no more than the tail.
    lower = float(np.floor(np.log1p(-ALPHA / 2) / log_none))
    return (lower if lower > 0 else float("nan")), max(upper, 0.0)


def _floor_note(lower: Any, unit: str) -> list[str]:
    if not np.isnan(np.asarray(lower, float)).any():
        return []
    return [
        f"No lower limit: at this rate even two events in successive {unit} are not rare enough. "
        "One short gap cannot show a deterioration on this chart; the CUSUM can."
    ]


def _open_note(table: Any, since_last: float | None, unit: str) -> list[str]:
    if since_last is None:
        return []
    upper = float(table["upper"].iloc[-1])
    said = f"{since_last:.0f} event-free {unit} since the last event (still open)"
    more = f", already more than the upper limit of {upper:.0f}" if since_last > upper else ""
    return [f"{said}{more}."]
