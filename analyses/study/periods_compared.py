"""Two periods compared on every share: counts and intervals, exploratory, without a P value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from analyses.content.blocks import Cell, Section, Table, plain
from analyses.documents.tables.measure_tables import number_cell
from analyses.measures.declared import all_measures
from analyses.measures.in_periods import Period, share_in_periods
from analyses.measures.measure import Share
from analyses.population.exclusions import hash_words
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.study.study_errors import StudyError
from analyses.study.study_shown import ShowsItself

CAUTION = ("Exploratory: with so many measures some differ by chance alone, and periods differ in "
           "more than the calendar. No difference is tested.")
UNIT_ORDER = ("session", "lesion", "patient", "catheter", "injection", "operation")


@dataclass(frozen=True, repr=False)
class PeriodsCompared(ShowsItself):
    """Every share in two periods: `pairs` are its estimates in the first and in the second."""

    periods: tuple[str, str]
    pairs: tuple[tuple[Share, Estimate, Estimate], ...]
    manifest: Mapping[str, Any]

    def frame(self) -> pd.DataFrame:
        """One row a measure and period: id, unit, period, events, n, value, low, high, text."""
        return pd.DataFrame([{
            "id": e.id, "unit": e.unit, "period": (e.group or {})["stage"], "events": e.events,
            "n": e.n, "value": e.value, "low": e.low, "high": e.high, "text": e.number_text(),
        } for _, *both in self.pairs for e in both])

    def content(self) -> tuple[Section, ...]:
        """The table, and what must be known before it is read."""
        rows = tuple(
            (Cell(measure.label, heading=True), Cell(first.unit), number_cell(first),
             number_cell(second)) for measure, first, second in self.pairs)
        return (Section("Two periods compared", (
            Table("periods", "Every share: events/n (%, 95 % interval)",
                  ("Measure", "Unit", *self.periods), rows),
            plain(CAUTION, f"From {hash_words(self.manifest)}."))),)


def periods_compared(
    units: Units, first: tuple[Any, Any], second: tuple[Any, Any], manifest: Mapping[str, Any],
) -> PeriodsCompared:
    """Compare two periods, each its first and last day. Raises StudyError where they overlap.

    A session stands in the period of its own day, a lesion or patient in that of the first
    treatment. Measures with a unit in neither period are left out.
    """
    periods = _read(first), _read(second)
    if not periods[0][1] < periods[1][0]:
        raise StudyError(f"The first period ends on {periods[0][1]} and the second begins on "
                         f"{periods[1][0]}: the second follows the first, without a common day.")
    names = _words(periods[0]), _words(periods[1])
    within: dict[str, Period] = {names[0]: periods[0], names[1]: periods[1]}
    pairs = []
    for one in all_measures().values():
        if not isinstance(one, Share):
            continue
        unit = next((u for u in UNIT_ORDER if u in one.units), one.units[0])
        found = share_in_periods(one, units, unit, within)
        if found is not None and any(e.n for e in found):
            pairs.append((one, found[0], found[1]))
    if not pairs:
        raise StudyError(f"No unit lies in {names[0]} or {names[1]}.")
    return PeriodsCompared(names, tuple(pairs), manifest)


def _read(period: tuple[Any, Any]) -> tuple[date, date]:
    """The two days of a period. Raises StudyError."""
    try:
        first, last = (pd.Timestamp(day).date() for day in period)
        readable = not (pd.isna(first) or pd.isna(last))
    except (TypeError, ValueError):
        readable = False
    if not readable:
        raise StudyError(f"A period is {period!r}; its first and last day are wanted, such as "
                         '("2019-01-01", "2021-12-31").')
    if first > last:
        raise StudyError(f"A period begins on {first} and ends on {last}: the other way round?")
    return first, last


def _words(period: tuple[date, date]) -> str:
    return f"{period[0]} to {period[1]}"
