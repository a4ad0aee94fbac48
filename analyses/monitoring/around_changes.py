"""Before and after a change in practice: which changes carry a comparison, and what it gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analyses.statistics.control_charts.interrupted_series import (
    FEWEST_TRIALS,
    InterruptedSeries,
    SeriesTooShort,
    interrupted_series,
)
from analyses.statistics.control_charts.periods import count_by_period
from analyses.statistics.control_charts.stages import Change
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.difference import clustered_difference
from analyses.statistics.proportions.proportions_compared import FLOOR
from registry.problems.sentence_error import SentenceError
from registry.schema import Patients, Sessions


class TooFewAround(SentenceError, ValueError):
    """Too few events around a change; the message says how many there are."""


@dataclass(frozen=True)
class Around:
    """A change with the sessions from the change before it to the one after it.

    since: which of them lie on its day or later.
    """

    change: Change
    sessions: pd.DataFrame
    since: np.ndarray

    @property
    def enough(self) -> bool:
        """Whether each side has the sessions that a stage or a comparison needs."""
        return bool(min(self.since.sum(), (~self.since).sum()) >= FEWEST_TRIALS)

    @property
    def too_few(self) -> str:
        """How many sessions lie on each side, and how many are wanted."""
        return (f"“{self.change.what}” ({self.change.day}) has {int((~self.since).sum())} "
                f"sessions before it and {int(self.since.sum())} since, as far as the changes "
                f"next to it: at least {FEWEST_TRIALS} on each side are wanted")


def around_each(sessions: pd.DataFrame, changes: Sequence[Change]) -> list[Around]:
    """Each change that begins a new stage, oldest first, with the sessions around it.

    sessions: one row each with `session_date`, a day.
    """
    days = sessions[Sessions.session_date].dt.date
    staged = sorted((c for c in changes if c.new_stage), key=lambda change: change.day)
    found = []
    for place, change in enumerate(staged):
        kept = np.ones(len(sessions), bool)
        if place > 0:
            kept &= (days >= staged[place - 1].day).to_numpy()
        if place + 1 < len(staged):
            kept &= (days < staged[place + 1].day).to_numpy()
        found.append(Around(change, sessions[kept], (days[kept] >= change.day).to_numpy()))
    return found


def difference_at(around: Around) -> Estimate:
    """Share with the event since the change less that before, from the counts, clustered.

    Raises TooFewAround below FLOOR events or sessions without one.
    """
    sessions, change = around.sessions, around.change
    event = sessions["complication"].to_numpy(float)
    hit = int(event.sum())
    if min(hit, event.size - hit) < FLOOR:
        raise TooFewAround(
            f"around “{change.what}” ({change.day}) {hit} of {event.size} sessions had the "
            f"event: at least {FLOOR}, and as many without, are wanted, so nothing is compared.")
    return clustered_difference(
        event, np.where(around.since, "since", "before").tolist(),
        sessions[Patients.patient_id].tolist(), reference="before",
        id="monitoring.before_after", unit="session", group={"change": change.day.isoformat()},
        keys=sessions["procedure_key"].tolist())


def series_of_change(
    arounds: Sequence[Around], problems: list[str],
) -> tuple[InterruptedSeries | None, Change | None]:
    """Segmented regression around the first change that carries one, by month or quarter.

    Periods at either end that are too small (a quarter begun or not yet over) are left off. Why a
    change carries none is added to `problems`.
    """
    for around in arounds:
        change, why = around.change, ""
        for period in ("month", "quarter"):
            table = _whole_periods(count_by_period(
                around.sessions[Sessions.session_date], around.sessions["complication"], period))
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
