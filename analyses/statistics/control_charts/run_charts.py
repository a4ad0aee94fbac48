"""Run chart: a measure around its median, with rules for shifts, runs, crossings and trends.

Sources: Perla, Provost and Murray 2011, BMJ Quality & Safety 20:46 (a shift is six or more
points on one side of the median, a trend five or more all rising or all falling); Anhøj and
Olesen 2014, PLoS ONE 9:e113825 (longest run against log2(n) + 3, crossings against the lower
5 % of a fair coin's).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.control_charts.chart import COLUMNS, Chart, in_stages, stage_labels
from analyses.statistics.control_charts.chart_arrays import numbers

SHIFT = 6
TREND = 5
FEWEST = 10


def run_chart(
    values: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
    measure: str = "value",
) -> Chart:
    """Run chart of a series in order of time; it needs no distribution and has no limits.

    values: numbers, one a period. Points on the median neither make nor break a run; equal
    neighbours neither make nor break a trend. `signal` marks the points of every run or trend
    that meets a rule. With fewer than 10 points off the median in a stage the longest-run and
    crossings rules are not used; where no point lies below (or above) the median, as with a rare
    event, none is; notes say so. Raises ValueError.
    """
    value = numbers(list(values), "values")
    table = pd.DataFrame({
        "label": list(labels) if labels is not None else range(1, value.size + 1),
        "stage": stage_labels(value.size, stage), "value": value, "centre": np.nan,
        "lower": np.nan, "upper": np.nan, "signal": False, "reason": "",
    })
    notes: list[str] = []
    judged = 0
    for places, setters in in_stages(value.size, stage, baseline):
        centre = float(np.median(value[setters]))
        table.loc[places, "centre"] = centre
        side = np.sign(value[setters] - centre)
        if side.min() >= 0 or side.max() <= 0:
            notes.append(_one_sided(centre, str(table["stage"].iloc[places[0]])))
            continue
        judged += 1
        found, said = _rules(value[places], centre)
        reasons = table["reason"].to_numpy(dtype=object)
        for where, reason in found:
            for place in places[where]:
                reasons[place] = "; ".join(filter(None, (reasons[place], reason)))
        table["reason"] = reasons
        name = str(table["stage"].iloc[places[0]])
        notes += [said_ if name == "all" else f"{name}: {said_}" for said_ in said]
    table["signal"] = (table["reason"] != "").to_numpy(dtype=bool)
    return Chart("run", table[COLUMNS], measure,
                 "run chart around the median (Perla 2011; Anhøj and Olesen 2014)", tuple(notes),
                 {"stages_judged": judged})


def longest_run_limit(useful: int) -> int:
    """The longest run that chance gives, for this many points off the median (Anhøj 2014)."""
    return int(round(np.log2(useful) + 3))


def fewest_crossings(useful: int) -> int:
    """The fewest crossings of the median that chance gives (lower 5 % of a fair coin)."""
    from scipy.stats import binom

    return int(binom.ppf(0.05, useful - 1, 0.5))


def _one_sided(centre: float, name: str) -> str:
    """Where half the points or more are the lowest (or the highest) there are no two sides."""
    where = "" if name == "all" else f"{name}: "
    return (f"{where}Half of the points or more are at {centre:g} with none beyond it, so the "
            "median has no two sides and the rules are not used. Longer periods, or a g chart "
            "for a rare event, are wanted.")


def _rules(value: Floats, centre: float) -> tuple[list[tuple[Whole, str]], list[str]]:
    """The places each rule marks, and what the chart says as a whole."""
    side = np.sign(value - centre)
    useful = np.flatnonzero(side)
    runs = _runs(side[useful])
    marked: list[tuple[Whole, str]] = [
        (useful[a:b], f"shift: {b - a} points on one side of the median")
        for a, b in runs if b - a >= SHIFT
    ]
    marked += [(places, f"trend: {places.size} points in one direction")
               for places in _trends(value)]
    said = []
    if useful.size < FEWEST:
        said.append(f"{useful.size} points off the median: too few for the rules of longest run "
                    f"and crossings, which need {FEWEST}.")
        return marked, said
    longest = max(b - a for a, b in runs)
    crossings = len(runs) - 1
    limit, fewest = longest_run_limit(useful.size), fewest_crossings(useful.size)
    if longest > limit:
        said.append(f"The longest run is {longest} points; chance seldom gives more than {limit}.")
        marked += [(useful[a:b], f"longest run: {b - a} points") for a, b in runs
                   if b - a == longest and longest < SHIFT]
    if crossings < fewest:
        said.append(f"The median is crossed {crossings} times; chance seldom gives fewer than "
                    f"{fewest}.")
    return marked, said


def _runs(side: Floats) -> list[tuple[int, int]]:
    """Start and end (past the last) of each run of one sign."""
    if side.size == 0:
        return []
    ends = np.flatnonzero(np.diff(side)) + 1
    marks = [0, *ends.tolist(), side.size]
    return list(zip(marks[:-1], marks[1:], strict=True))


def _trends(value: Floats) -> list[Whole]:
    """Places of each stretch of points all rising or all falling, equal neighbours skipped."""
    kept = np.concatenate([[0], np.flatnonzero(np.diff(value)) + 1])
    direction = np.sign(np.diff(value[kept]))
    return [kept[a : b + 1] for a, b in _runs(direction) if b - a + 1 >= TREND]
