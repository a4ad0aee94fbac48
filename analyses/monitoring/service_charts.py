"""The charts of a service that need no expected risk, from one row a procedure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analyses.statistics.control_charts.attribute_charts import dispersion, laney_p_chart, p_chart
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice
from analyses.statistics.control_charts.interrupted_series import (
    InterruptedSeries,
    SeriesTooShort,
    interrupted_series,
)
from analyses.statistics.control_charts.periods import count_by_period
from analyses.statistics.control_charts.rare_event_charts import g_chart, gaps_between_events
from analyses.statistics.control_charts.run_charts import run_chart
from analyses.statistics.control_charts.stages import Change
from registry.schema import Sessions

if TYPE_CHECKING:
    import pandas as pd

FEWEST_QUARTERS = 6
FEWEST_A_MONTH = 5


def chosen_chart(
    sessions: pd.DataFrame, choice: ChartChoice, unit: str = "session",
) -> Chart | None:
    """The chart of the choice, its stages as in the sessions; None where none fits yet.

    unit: what a row is called.
    """
    if choice.kind == "p":
        return _p(sessions, choice.period)
    return _g(sessions, unit) if choice.kind == "g" else None


def quarterly_run_chart(sessions: pd.DataFrame) -> Chart | None:
    """Run chart of the share with a complication by quarter; None below 6 quarters."""
    table = count_by_period(sessions[Sessions.session_date], sessions["complication"], "quarter")
    table = table[table["trials"] > 0]
    if len(table) < FEWEST_QUARTERS:
        return None
    return run_chart((100 * table["events"] / table["trials"]).tolist(),
                     labels=table["label"].tolist(),
                     measure="sessions with a complication, % of the quarter's")


def series_of_change(
    sessions: pd.DataFrame, changes: Sequence[Change], problems: list[str]
) -> tuple[InterruptedSeries | None, Change | None]:
    """Segmented regression around the first change with a new stage, by month or quarter."""
    marked = [change for change in changes if change.new_stage]
    if not marked:
        return None, None
    change, period = marked[0], "month"
    table = count_by_period(sessions[Sessions.session_date], sessions["complication"], period)
    if table["trials"].min() < FEWEST_A_MONTH:
        period = "quarter"
        table = count_by_period(sessions[Sessions.session_date], sessions["complication"], period)
    if (table["trials"] == 0).any():
        problems.append(f"Before and after: a {period} without sessions, so no line is fitted.")
        return None, change
    first_after = int((table["first_day"].dt.date < change.day).sum())
    try:
        series = interrupted_series(
            100 * table["events"] / table["trials"], first_after, period=period,
            measure="percentage points", labels=table["label"].tolist())
    except SeriesTooShort as why:
        problems.append(f"Before and after: {why}")
        return None, change
    return series, change


def _p(sessions: pd.DataFrame, period: str) -> Chart:
    """p chart by period; corrected after Laney where the points spread beyond chance."""
    stages, events, trials, labels, days = [], [], [], [], []
    for name in dict.fromkeys(sessions["stage"]):
        rows = sessions[sessions["stage"] == name]
        table = count_by_period(rows[Sessions.session_date], rows["complication"], period)
        table = table[table["trials"] > 0]
        stages += [name] * len(table)
        events += table["events"].tolist()
        trials += table["trials"].tolist()
        labels += table["label"].tolist()
        # A period cut in two by a change has two points: the later begins with its stage.
        days += [max(day, rows[Sessions.session_date].iloc[0]) for day in table["first_day"]]
    over = dispersion(events, trials, stage=stages, kind="p").excess
    make = laney_p_chart if over else p_chart
    chart = make(events, trials, labels=labels, stage=stages)
    return replace(chart, table=chart.table.assign(day=days))


def _g(sessions: pd.DataFrame, unit: str) -> Chart:
    """g chart; a gap belongs to the stage in which it ends."""
    y = sessions["complication"].to_numpy()
    gaps = gaps_between_events(y)
    places = np.flatnonzero(y)
    days = sessions[Sessions.session_date].iloc[places]
    stage = sessions["stage"].iloc[places].tolist()
    chart = g_chart(gaps.between, labels=days.dt.strftime("%Y-%m-%d").tolist(), stage=stage,
                    since_last=gaps.since_last, unit=unit)
    return replace(chart, table=chart.table.assign(day=days.to_numpy()))
