"""Curves over time as small tables: the value at round times, with who is still followed."""

from __future__ import annotations

from collections.abc import Hashable
from functools import singledispatch
from typing import Any

from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.incidence_curves import IncidenceCurves
from analyses.statistics.timetoevent.interval_censoring import IntervalCensored
from analyses.statistics.timetoevent.survival_curves import SurvivalCurves
from analyses.statistics.timetoevent.weighted_incidence import WeightedIncidence
from analyses.words.numerals import percent, span
from analyses.words.self_showing import Summary

ABOUT = 5
"""About so many times are shown."""


@singledispatch
def summary_of(found: object) -> Summary:
    """A curve as a table; raises TypeError for what is none."""
    raise TypeError(f"No summary of a {type(found).__name__}.")


@summary_of.register
def _(found: SurvivalCurves) -> Summary:
    rows = _rows(found, "Without the event", ("events",))
    return Summary(_title(found), rows[0], rows[1], _notes(found))


@summary_of.register
def _(found: IncidenceCurves) -> Summary:
    rows = _rows(found, "With the event", ("events", "competing"))
    return Summary(_title(found), rows[0], rows[1], _notes(found))


@summary_of.register
def _(found: WeightedIncidence) -> Summary:
    times = _round_times(found.people)
    rows = tuple((_time(found, t), _share(found.at(t))) for t in times)
    return Summary(_title(found), ("Time", "With the event (interval)"), rows,
                   (found.at(times[-1]).method,))


@summary_of.register
def _(found: IntervalCensored) -> Summary:
    times = _round_times(found.people)
    rows = tuple((_time(found, t), _share(found.at(t))) for t in times)
    return Summary(_title(found), ("Time", "With the event (limits)"), rows,
                   (found.at(times[-1]).method, found.sentence(times[-1])))


def _rows(
    found: SurvivalCurves | IncidenceCurves, heading: str, counts: tuple[str, ...],
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Headings and rows: a row a time and group."""
    times = _round_times(found.people)
    followed = found.at_risk_table(times)
    rows = []
    for group in found.groups or (None,):
        mine = followed if group is None else followed[[g == group for g in followed["group"]]]
        for time, row in zip(times, mine.to_dict("records"), strict=True):
            rows.append((
                *_group(found, group), _time(found, time), _share(found.at(time, group)),
                f"{row['at_risk']:,}", *(f"{row[name]:,}" for name in counts)))
    words = {"events": "Events so far", "competing": "Competing events so far"}
    headings = (*((found.people.group_name,) if found.groups else ()), "Time",
                f"{heading} (interval)", "Still followed", *(words[name] for name in counts))
    return headings, tuple(rows)


def _group(found: SurvivalCurves | IncidenceCurves, group: Hashable | None) -> tuple[str, ...]:
    return (str(group),) if found.groups else ()


def _share(estimate: Estimate) -> str:
    """The value with its interval; the words where it cannot be given."""
    if estimate.value is None:
        return "; ".join(estimate.notes()) or "cannot be given"
    if estimate.low is None or estimate.high is None:
        return f"{percent(estimate.value)} %"
    between = span(percent(estimate.low), percent(estimate.high))
    return f"{percent(estimate.value)} % ({between})"


def _title(found: Any) -> str:
    from analyses.measures.declared import about

    return f"{about(found.labels.id).label}, {found.people.duration.size:,} " \
           f"{found.labels.unit}{'' if found.people.duration.size == 1 else 's'}"


def _notes(found: SurvivalCurves | IncidenceCurves) -> tuple[str, ...]:
    one = found.at(0.0, found.groups[0] if found.groups else None)
    level = f"{100 * found.labels.level:g} % intervals. {one.method}."
    return (level, *(f"{words}." for words in getattr(found, "words", ())))


def _time(found: Any, time: float) -> str:
    return found.labels.time(time)


def _round_times(people: Any) -> list[float]:
    """A few round times up to the longest follow-up."""
    from matplotlib.ticker import MaxNLocator

    last = float(people.duration.max())
    ticks = MaxNLocator(nbins=ABOUT, steps=[1, 2, 5, 10]).tick_values(0, last)
    inside = [float(t) for t in ticks if 0 < t <= last]
    return inside or [last]
