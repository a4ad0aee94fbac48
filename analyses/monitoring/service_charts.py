"""The charts of a service that need no expected risk, from one row a procedure.

A declared baseline alone sets their limits: what comes after it is judged and sets none, so that
a lasting change is never learnt as usual. Without one each stage sets its own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.statistics.control_charts.attribute_charts import dispersion, laney_p_chart, p_chart
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice, choose_chart
from analyses.statistics.control_charts.periods import count_by_period
from analyses.statistics.control_charts.rare_event_charts import g_chart, gaps_between_events
from analyses.statistics.control_charts.run_charts import run_chart
from registry.schema import Sessions

FEWEST_QUARTERS = 6
DAYS_A_MONTH = 30.4375
SETS_LIMITS = "sets_limits"
"""The column that marks the sessions of a declared baseline; absent where none is declared."""
FROM_BASELINE = "limits from the baseline alone"
MEDIAN_OF_BASELINE = "median of the baseline"


def fitting_choice(sessions: pd.DataFrame) -> ChartChoice:
    """The chart that the sessions which set its limits can carry."""
    setting = sessions[sessions[SETS_LIMITS]] if SETS_LIMITS in sessions.columns else sessions
    days = setting[Sessions.session_date]
    months = ((days.max() - days.min()).days + 1) / DAYS_A_MONTH
    return choose_chart(int(setting["complication"].sum()), len(setting), max(months, 0.1),
                        unit="session")


def chosen_chart(
    sessions: pd.DataFrame, choice: ChartChoice, unit: str = "session",
) -> Chart | None:
    """The chart of the choice, its stages as in the sessions; None where none fits yet.

    sessions: in order of time, with `session_date`, `complication`, `stage`, and SETS_LIMITS where
    a baseline is declared. unit: what a row is called.
    """
    if choice.kind == "p":
        return _p(sessions, choice.period)
    return _g(sessions, unit) if choice.kind == "g" else None


def quarterly_run_chart(sessions: pd.DataFrame) -> Chart | None:
    """Run chart of the share with the event by quarter; None below 6 quarters to judge by."""
    table = _periods(sessions, "quarter")
    setting = _setting(table)
    if (len(table) if setting is None else sum(setting)) < FEWEST_QUARTERS:
        return None
    chart = run_chart((100 * table["events"] / table["trials"]).tolist(),
                      labels=table["label"].tolist(), baseline=setting,
                      measure="sessions with the event, % of the quarter's")
    return chart if setting is None else from_baseline(chart, setting, MEDIAN_OF_BASELINE)


def _p(sessions: pd.DataFrame, period: str) -> Chart:
    """p chart by period; corrected after Laney where the points spread beyond chance."""
    parts = [_periods(rows, period).assign(stage=name)
             for name, rows in sessions.groupby("stage", sort=False)]
    table = pd.concat(parts, ignore_index=True)
    stages, setting = table["stage"].tolist(), _setting(table)
    over = dispersion(table["events"], table["trials"], stage=stages, kind="p",
                      baseline=setting).excess
    make = laney_p_chart if over else p_chart
    chart = make(table["events"], table["trials"], labels=table["label"].tolist(), stage=stages,
                 baseline=setting)
    chart = replace(chart, table=chart.table.assign(day=table["day"].to_numpy()))
    return chart if setting is None else from_baseline(chart, setting)


def _g(sessions: pd.DataFrame, unit: str) -> Chart:
    """g chart; a gap belongs to the stage in which it ends.

    Of a declared baseline the gaps that lie in it whole set the limits.
    """
    y = sessions["complication"].to_numpy()
    gaps = gaps_between_events(y)
    places = np.flatnonzero(y)
    days = sessions[Sessions.session_date].iloc[places]
    stage = sessions["stage"].iloc[places].tolist()
    setting = None
    if SETS_LIMITS in sessions.columns:
        outside = np.cumsum(~sessions[SETS_LIMITS].to_numpy(bool))
        begun = np.concatenate([[0], outside[places[:-1]]])
        setting = (outside[places] == begun).tolist()
    chart = g_chart(gaps.between, labels=days.dt.strftime("%Y-%m-%d").tolist(), stage=stage,
                    since_last=gaps.since_last, unit=unit, baseline=setting)
    chart = replace(chart, table=chart.table.assign(day=days.to_numpy()))
    return chart if setting is None else from_baseline(chart, setting)


def _periods(sessions: pd.DataFrame, period: str) -> pd.DataFrame:
    """Events and trials by period: label, day, events, trials, and SETS_LIMITS where declared.

    A period that the baseline's end (or a change of stage) cuts in two has two points: the later
    begins with its first session.
    """
    part = (sessions[SETS_LIMITS].ne(sessions[SETS_LIMITS].shift()).cumsum()
            if SETS_LIMITS in sessions.columns else pd.Series(0, sessions.index))
    found = []
    for _, rows in sessions.groupby(part, sort=False):
        table = count_by_period(rows[Sessions.session_date], rows["complication"], period)
        table = table[table["trials"] > 0]
        first = rows[Sessions.session_date].iloc[0]
        table = table.assign(day=[max(day, first) for day in table["first_day"]])
        if SETS_LIMITS in rows.columns:
            table = table.assign(**{SETS_LIMITS: bool(rows[SETS_LIMITS].iloc[0])})
        found.append(table)
    return pd.concat(found, ignore_index=True)


def _setting(table: pd.DataFrame) -> list[bool] | None:
    """Which points set the limits; None where no baseline is declared."""
    return table[SETS_LIMITS].tolist() if SETS_LIMITS in table.columns else None


def from_baseline(chart: Chart, setting: list[bool], what: str = FROM_BASELINE) -> Chart:
    """The chart with the points of the baseline marked, its method saying what they set."""
    return replace(chart, table=chart.table.assign(baseline=setting),
                   method=f"{chart.method}; {what}")
