"""Groups compared: differences with intervals, and trends.

Groups of an observational series differ in more than the one thing that names them; a difference
here is a description, not an effect. None of these has a P value: tests are for the questions that
a plan named before the data were looked at (`analyses.models.declared_questions`).
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analyses.measures.baseline import compared_levels
from analyses.measures.counting import FEW
from analyses.measures.headlines import Headline, headlines
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.difference import clustered_difference
from analyses.statistics.proportions.proportions_compared import (
    EXPECTED,
    FLOOR,
    ProportionsCompared,
    compare_groups,
)
from analyses.statistics.proportions.trend import Trend, clustered_trend
from registry.schema import Patients

HALVES = ("earlier half", "later half")
COMPARED = ("half", "ponce_class", "intent", "ruptured", "agent")
"""Groupings whose levels are compared; `half` is the period, earlier against later."""

FIRST_LEVEL = {"half": HALVES[0], "ponce_class": "A", "ruptured": "no"}
"""The level the others are compared with; elsewhere the one with the most units."""


def comparison_estimates(units: Units) -> list[Estimate]:
    """`difference.ID` of every level against the reference, and `trend.ID` by grade and by year.

    Differences from -1 to 1: Newcombe's interval, or that of `clustered_difference` where patients
    repeat. A trend is the change of the share a grade, or a calendar year. Levels under 5 units
    are not compared.
    """
    found: list[Estimate] = []
    for headline in headlines(units).values():
        for column in COMPARED:
            found += differences(headline, column)
        found += [trend.estimate for trend in trends(headline)]
    return found


def differences(headline: Headline, column: str, level: float = 0.95) -> list[Estimate]:
    """Each level of a grouping minus the reference level, among units of known outcome.

    level: coverage of the intervals. None below the floor of 8 events and 8 units without one, in
    all and in the two levels, or where under 1 of either is to be expected in the smaller: the
    counts stand alone.
    """
    rows = halves_added(headline.known())
    names = large_enough(rows, column)
    if len(names) < 2 or not enough(rows):
        return []
    first = reference_level(rows, column, names)
    return [_difference(headline, rows, column, name, first, level)
            for name in names if name != first and _pair_is_enough(rows, column, name, first)]


def _pair_is_enough(rows: pd.DataFrame, column: str, name: str, first: str) -> bool:
    """Whether the two levels have enough together, and 1 of each expected in the smaller."""
    pair = rows[rows[column].isin([name, first])]
    events, n = int(pair["event"].sum()), len(pair)
    smaller = min(int(pair[column].eq(level).sum()) for level in (name, first))
    return enough(pair) and smaller * min(events, n - events) / n >= EXPECTED


def enough(rows: pd.DataFrame) -> bool:
    """Whether there are enough events, and units without one, for a comparison.

    rows: units with `event`, all known.
    """
    events = int(rows["event"].sum())
    return min(events, len(rows) - events) >= FLOOR


def reference_level(rows: pd.DataFrame, column: str, names: list[str]) -> str:
    """The level that the others are compared with."""
    wanted = FIRST_LEVEL.get(column)
    if wanted in names:
        return str(wanted)
    counts = rows[column].value_counts()
    return max(names, key=lambda name: (int(counts[name]), name))


def trends(headline: Headline) -> list[Trend]:
    """Trend a Spetzler–Martin grade, and a calendar year.

    None where there is one step only, or under 8 events or 8 units without one.
    """
    rows = headline.known()
    if not enough(rows):
        return []
    scores = {"sm_grade": rows["sm_grade_value"].astype("Float64"),
              "period": pd.to_numeric(rows["period"], errors="coerce").astype("Float64")}
    steps = {"sm_grade": "per grade", "period": "per calendar year"}
    found = []
    for column, score in scores.items():
        here = rows[score.notna()]
        if score.dropna().nunique() < 2:
            continue
        found.append(clustered_trend(
            here["event"].astype(bool).to_numpy(), score.dropna().to_numpy(dtype=float),
            here[Patients.patient_id].to_numpy(dtype=str), id=f"trend.{headline.id}",
            unit=headline.unit, group={column: steps[column]}, keys=list(here["key"])))
    return found


def groups_compared(headline: Headline, column: str, level: float = 0.95) -> ProportionsCompared:
    """The levels of a grouping with their shares, and one test of all of them.

    By exchange of whole patients, or Fisher's exact test (`compare_groups`); levels under 5 units
    and units not in any level are left out. The differences in units of the reference level are
    those of `differences`.
    """
    rows = halves_added(headline.known())
    names = large_enough(rows, column)
    small = tuple(name for name in compared_levels(rows, column) if name not in names)
    rows = rows[rows[column].isin(names)]
    found = compare_groups(
        rows["event"].astype(bool).to_numpy(), rows[column].astype(str).tolist(),
        rows[Patients.patient_id].astype(str).tolist(), level=level)
    return replace(found, left_out=tuple(sorted((*small, *found.left_out))))


def _difference(
    headline: Headline, rows: pd.DataFrame, column: str, name: str, first: str, level: float,
) -> Estimate:
    pair = rows[rows[column].isin([name, first])]
    return clustered_difference(
        pair["event"].astype(bool).to_numpy(), pair[column].to_numpy(dtype=str),
        pair[Patients.patient_id].to_numpy(dtype=str), reference=first, level=level,
        id=f"difference.{headline.id}", unit=headline.unit,
        group={column: f"{name} against {first}"}, keys=list(pair["key"]))


def halves_added(rows: pd.DataFrame) -> pd.DataFrame:
    """Adds `half`: the calendar years in two halves of equal length, the middle one earlier."""
    years = pd.to_numeric(rows["period"], errors="coerce")
    middle = (years.min() + years.max()) / 2
    half = pd.Series(HALVES[0], index=rows.index, dtype="string")
    return rows.assign(half=half.mask(years > middle, HALVES[1]).mask(years.isna()))


def large_enough(rows: pd.DataFrame, column: str) -> list[str]:
    """The levels of a grouping with 5 units or more, in their order."""
    counts = rows[column].value_counts()
    return [name for name in compared_levels(rows, column) if counts[name] >= FEW]
