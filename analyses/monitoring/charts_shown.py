"""Charts and the whole quality analysis as small tables with their words."""

from __future__ import annotations

from functools import singledispatch
from typing import Any

import numpy as np

from analyses.monitoring.service import QualityAnalysis
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.cusum import Cusum
from analyses.statistics.control_charts.funnel import Funnel
from analyses.statistics.control_charts.interrupted_series import InterruptedSeries
from analyses.statistics.control_charts.learning_curve import LearningCurve
from analyses.statistics.estimate import Estimate
from analyses.words.numerals import quantity, span
from analyses.words.self_showing import Summary


@singledispatch
def summary_of(found: object) -> Summary:
    """A result of monitoring as a table; raises TypeError for what is none."""
    raise TypeError(f"No summary of a {type(found).__name__}.")


@summary_of.register
def _(found: Chart) -> Summary:
    rows = []
    for stage in found.stages:
        part = found.table[found.table["stage"] == stage]
        rows.append((str(stage) or "all", f"{len(part):,}", _range(part["centre"]),
                     _range(part["lower"]), _range(part["upper"]),
                     f"{int(part['signal'].sum()):,}"))
    signals = tuple(f"Signal at {row.label}: {row.reason}." for row in found.signals.itertuples())
    return Summary(
        f"{found.kind} chart: {found.measure}",
        ("Stage", "Points", "Centre", "Lower limit", "Upper limit", "Signals"), tuple(rows),
        (*(signals or ("No signal.",)), f"{found.method}.", *found.notes))


@summary_of.register
def _(found: Cusum) -> Summary:
    at = ", ".join(map(str, found.signals["label"])) or "none"
    way = "higher" if found.worse else "lower"
    events, expected = int(found.table["event"].sum()), float(found.table["expected"].sum())
    return Summary(
        f"Risk-adjusted CUSUM looking for a {way} risk",
        ("Sessions", "Events", "Expected", "Odds ratio looked for", "Limit", "Signals at"),
        ((f"{len(found.table):,}", f"{events:,}", quantity(expected), f"{found.odds_ratio:g}",
          quantity(found.limit), at),),
        ("The sum starts again from zero after each signal.",))


@summary_of.register
def _(found: Funnel) -> Summary:
    rows = tuple(
        (str(row["group"]), f"{int(row['events']):,}/{int(row['sessions']):,}",
         quantity(float(row["value"])), span(quantity(float(row["lower_95"])),
                                              quantity(float(row["upper_95"]))),
         str(row["reason"]) or ("inside" if row["judged"] else "too few to judge"))
        for row in found.table.to_dict("records"))
    return Summary(
        f"Funnel: {found.measure}",
        ("Code", "Events/sessions", "Value", "95 % limits by chance alone", "Place"), rows,
        (f"{found.method}.", *found.notes))


@summary_of.register
def _(found: LearningCurve) -> Summary:
    rows = tuple((_block(seen), seen.number_text(), adjusted.number_text())
                 for seen, adjusted in zip(found.observed, found.adjusted, strict=True))
    slope = () if found.slope is None else (
        f"For each doubling of experience: {found.slope.number_text()}.",)
    return Summary("Learning curve", ("Procedures done before", "Observed",
                                      "Observed against expected"), rows, (*slope, *found.notes))


@summary_of.register
def _(found: InterruptedSeries) -> Summary:
    words = ("Change of level", "Change of slope", "With against without the change, at the end")
    rows = tuple((label, e.number_text())
                 for label, e in zip(words, found.estimates, strict=True))
    return Summary("Before and after a change", ("What", "Difference (interval)"), rows,
                   found.notes)


@summary_of.register
def _(found: QualityAnalysis) -> Summary:
    rows = tuple((heading if place == 0 else "", sentence)
                 for heading, sentences in found.sections.items()
                 for place, sentence in enumerate(sentences))
    return Summary("Quality analysis", ("About", "What is said"), rows, found.problems)


def _range(values: Any) -> str:
    """One number where a limit is the same for all points, else the smallest to the largest."""
    known = np.asarray(values, float)
    known = known[np.isfinite(known)]
    if not known.size:
        return "none"
    low, high = quantity(float(known.min())), quantity(float(known.max()))
    return low if low == high else span(low, high)


def _block(estimate: Estimate) -> str:
    return ", ".join(str(value) for value in (estimate.group or {"": "all"}).values())
