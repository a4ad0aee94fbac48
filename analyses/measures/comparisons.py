"""Groups compared: differences with intervals, trends, and whether groups differ at all.

Groups of an observational series differ in more than the one thing that names them; a difference
here is a description, not an effect.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.measures.baseline import compared_levels
from analyses.measures.counting import FEW
from analyses.measures.headlines import Headline, headlines
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.difference import clustered_difference
from analyses.statistics.proportions.trend import Trend, clustered_trend
from analyses.words.wording_of_p import p_text
from registry.schema import Patients

HALVES = ("earlier half", "later half")
COMPARED = ("half", "ponce_class", "intent", "ruptured", "agent")
"""Groupings whose levels are compared; `half` is the period, earlier against later."""

FIRST_LEVEL = {"half": HALVES[0], "ponce_class": "A", "ruptured": "no"}
"""The level the others are compared with; elsewhere the one with the most units."""


def comparison_estimates(units: Units) -> list[Estimate]:
    """`difference.ID` of every level against the reference, and `trend.ID` by grade and by year.

    Differences from -1 to 1: Newcombe's interval, or clustered on the patient where patients
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

    level: coverage of the intervals.
    """
    rows = _with_halves(headline.known())
    names = _large_enough(rows, column)
    if len(names) < 2:
        return []
    first = reference_level(rows, column, names)
    return [_difference(headline, rows, column, name, first, level)
            for name in names if name != first]


def reference_level(rows: pd.DataFrame, column: str, names: list[str]) -> str:
    """The level that the others are compared with."""
    wanted = FIRST_LEVEL.get(column)
    if wanted in names:
        return str(wanted)
    counts = rows[column].value_counts()
    return max(names, key=lambda name: (int(counts[name]), name))


def trends(headline: Headline) -> list[Trend]:
    """Trend a Spetzler–Martin grade, and a calendar year; none where there is one step only."""
    rows = headline.known()
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


@dataclass(frozen=True)
class Heterogeneity:
    """Whether the levels of a grouping differ: the test, for use beside their shares only.

    statistic, df, p: None where no test can be given. `left_out`: levels under 5 units.
    """

    id: str
    unit: str
    column: str
    names: tuple[str, ...]
    statistic: float | None
    df: int
    p: float | None
    method: str
    left_out: tuple[str, ...] = ()

    def words(self) -> str:
        """What the test says, in plain words; to stand beside the shares of the groups."""
        if self.statistic is None or self.p is None:
            return "no comparison can be made: too few groups with 5 units, or nothing varies"
        test = (f"{self.method} χ² {self.statistic:.2f} on {self.df} "
                f"{'degree' if self.df == 1 else 'degrees'} of freedom, {p_text(self.p)}")
        said = ("the groups differ by more than chance would easily make"
                if self.p < SURPRISING else
                "these numbers can neither show that the groups differ nor that they are alike")
        out = f"; left out for fewer than {FEW} units: {', '.join(self.left_out)}"
        return f"{said} ({test})" + (out if self.left_out else "")


SURPRISING = 0.05
PEARSON = "Pearson"
ROBUST = "score test, variance clustered on the patient"


def heterogeneity(headline: Headline, column: str) -> Heterogeneity:
    """The test of one share for all levels of a grouping, on (levels - 1) degrees of freedom.

    One row a patient: Pearson's χ². Several: the generalised score test (Boos 1992, Am Stat
    46:327) with each patient's contributions summed. Levels under 5 units are left out.
    """
    rows = _with_halves(headline.known())
    names = _large_enough(rows, column)
    small = tuple(n for n in compared_levels(rows, column) if n not in names)
    rows = rows[rows[column].isin(names)]
    alone = not rows[Patients.patient_id].duplicated().any()
    statistic = _score_statistic(rows, column, names, alone) if len(names) > 1 else None
    df = max(len(names) - 1, 0)
    return Heterogeneity(
        headline.id, headline.unit, column, tuple(names), statistic, df,
        None if statistic is None else _chi2_p(statistic, df), PEARSON if alone else ROBUST,
        small)


def _score_statistic(
    rows: pd.DataFrame, column: str, names: list[str], alone: bool,
) -> float | None:
    outcome = rows["event"].astype(float).to_numpy()
    share = outcome.mean()
    if share in (0.0, 1.0):
        return None
    # One column fewer than levels: the last follows from the others.
    in_level = np.column_stack([rows[column].eq(name).to_numpy(float) for name in names[:-1]])
    away = in_level - in_level.mean(axis=0)
    parts = away * (outcome - share)[:, None]
    if alone:
        variance = share * (1 - share) * away.T @ away
    else:
        by_each = (
            pd.DataFrame(parts).groupby(rows[Patients.patient_id].to_numpy(str)).sum().to_numpy()
        )
        variance = by_each.T @ by_each
    score = parts.sum(axis=0)
    if np.linalg.matrix_rank(variance) < len(names) - 1:
        return None
    return float(score @ np.linalg.solve(variance, score))


def _difference(
    headline: Headline, rows: pd.DataFrame, column: str, name: str, first: str, level: float,
) -> Estimate:
    pair = rows[rows[column].isin([name, first])]
    return clustered_difference(
        pair["event"].astype(bool).to_numpy(), pair[column].to_numpy(dtype=str),
        pair[Patients.patient_id].to_numpy(dtype=str), reference=first, level=level,
        id=f"difference.{headline.id}", unit=headline.unit,
        group={column: f"{name} against {first}"}, keys=list(pair["key"]))


def _with_halves(rows: pd.DataFrame) -> pd.DataFrame:
    """Adds `half`: the calendar years in two halves of equal length, the middle one earlier."""
    years = pd.to_numeric(rows["period"], errors="coerce")
    middle = (years.min() + years.max()) / 2
    half = pd.Series(HALVES[0], index=rows.index, dtype="string")
    return rows.assign(half=half.mask(years > middle, HALVES[1]).mask(years.isna()))


def _large_enough(rows: pd.DataFrame, column: str) -> list[str]:
    counts = rows[column].value_counts()
    return [name for name in compared_levels(rows, column) if counts[name] >= FEW]


def _chi2_p(statistic: float, df: int) -> float:
    from scipy import special

    return float(special.chdtrc(df, statistic))


def all_heterogeneity(units: Units, columns: Iterable[str]) -> list[Heterogeneity]:
    """The test of every headline measure for every grouping given."""
    return [heterogeneity(headline, column)
            for headline in headlines(units).values() for column in columns]
