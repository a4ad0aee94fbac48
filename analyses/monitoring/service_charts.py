"""The charts of a service that need no expected risk, from one row a procedure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.statistics.control_charts.attribute_charts import dispersion, laney_p_chart, p_chart
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice
from analyses.statistics.control_charts.interrupted_series import (
    FEWEST_TRIALS,
    InterruptedSeries,
    SeriesTooShort,
    interrupted_series,
)
from analyses.statistics.control_charts.periods import count_by_period
from analyses.statistics.control_charts.rare_event_charts import g_chart, gaps_between_events
from analyses.statistics.control_charts.run_charts import run_chart
from analyses.statistics.control_charts.stages import Change
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.difference import clustered_difference
from analyses.statistics.proportions.proportions_compared import FLOOR
from registry.problems.sentence_error import SentenceError
from registry.schema import Patients, Sessions

FEWEST_QUARTERS = 6


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
    """Run chart of the share with the event by quarter; None below 6 quarters."""
    table = count_by_period(sessions[Sessions.session_date], sessions["complication"], "quarter")
    table = table[table["trials"] > 0]
    if len(table) < FEWEST_QUARTERS:
        return None
    return run_chart((100 * table["events"] / table["trials"]).tolist(),
                     labels=table["label"].tolist(),
                     measure="sessions with the event, % of the quarter's")


def series_of_change(
    sessions: pd.DataFrame, changes: Sequence[Change], problems: list[str]
) -> tuple[InterruptedSeries | None, Change | None]:
    """Segmented regression around the first change that carries one, by month or quarter.

    From the change before it to the one after it. Periods at either end that are too small (a
    quarter begun or not yet over) are left off.
    """
    for change, rows in around_each(sessions, changes):
        why = ""
        for period in ("month", "quarter"):
            table = _whole_periods(count_by_period(
                rows[Sessions.session_date], rows["complication"], period))
            table, cut = _without_cut(table, change, period)
            first_after = int((table["first_day"].dt.date < change.day).sum())
            if table.empty:
                why = f"no {period} has {FEWEST_TRIALS} sessions, so no line is fitted."
                continue
            try:
                series = interrupted_series(
                    table["events"], table["trials"], first_after, period=period, unit="session",
                    labels=table["label"].tolist(), left_out=len(cut))
                return replace(series, notes=(*series.notes, *cut)), change
            except SeriesTooShort as short:
                why = str(short)
        problems.append(f"Before and after “{change.what}”: {why}")
    return None, None


def _without_cut(
    table: pd.DataFrame, change: Change, period: str,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """The periods without one that the change cuts in two, and a sentence on that one."""
    first = table["first_day"]
    after_it = first + (pd.DateOffset(months=1 if period == "month" else 3))
    day = pd.Timestamp(change.day)
    cut = (first < day) & (day < after_it)
    said = tuple(
        f"The {period} of the change ({row.label}), with {row.trials} sessions, is neither before "
        "nor after it and is left out of the line."
        for row in table[cut].itertuples())
    return table[~cut].reset_index(drop=True), said


def _whole_periods(table: pd.DataFrame) -> pd.DataFrame:
    """The periods from the first to the last with enough sessions."""
    enough = np.flatnonzero(table["trials"] >= FEWEST_TRIALS)
    if not enough.size:
        return table.iloc[:0]
    return table.iloc[enough[0]:enough[-1] + 1].reset_index(drop=True)


class TooFewAround(SentenceError, ValueError):
    """Too few sessions or events around a change; the message says how many there are."""


def around_each(
    sessions: pd.DataFrame, changes: Sequence[Change],
) -> Iterator[tuple[Change, pd.DataFrame]]:
    """Each change with the sessions from the change before it to the one after it."""
    days = sessions[Sessions.session_date].dt.date
    for place, change in enumerate(changes):
        kept = np.ones(len(sessions), bool)
        if place > 0:
            kept &= (days >= changes[place - 1].day).to_numpy()
        if place + 1 < len(changes):
            kept &= (days < changes[place + 1].day).to_numpy()
        yield change, sessions[kept]


def difference_at(sessions: pd.DataFrame, change: Change) -> Estimate:
    """Share with the event since the change less that before, from the counts, clustered.

    Raises TooFewAround below 10 sessions on a side, or FLOOR events or sessions without one.
    """
    event = sessions["complication"].to_numpy(float)
    since = (sessions[Sessions.session_date].dt.date >= change.day).to_numpy()
    hit = int(event.sum())
    if min(since.sum(), (~since).sum()) < FEWEST_TRIALS:
        raise TooFewAround(
            f"around “{change.what}” ({change.day}) lie {int((~since).sum())} sessions before "
            f"and {int(since.sum())} since: at least {FEWEST_TRIALS} on each side are wanted, so "
            "nothing is compared.")
    if min(hit, event.size - hit) < FLOOR:
        raise TooFewAround(
            f"around “{change.what}” ({change.day}) {hit} of {event.size} sessions had the "
            f"event: at least {FLOOR}, and as many without, are wanted, so nothing is compared.")
    return clustered_difference(
        event, np.where(since, "since", "before").tolist(),
        sessions[Patients.patient_id].tolist(), reference="before",
        id="monitoring.before_after", unit="session", group={"change": change.day.isoformat()},
        keys=sessions["procedure_key"].tolist())


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
