"""Curves over time as small tables: the value at round times, with who is still followed."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING, Protocol

from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.time_inputs import Followed
from analyses.statistics.timetoevent.time_labels import TimeLabels
from analyses.words.numerals import percent, span
from analyses.words.self_showing import Summary

if TYPE_CHECKING:
    import pandas as pd

ABOUT = 5
"""About so many times are shown."""

COUNTED = {"events": "Events so far", "competing": "Competing events so far"}


class Curve(Protocol):
    """One curve: a probability at any time."""

    @property
    def people(self) -> Followed: ...
    @property
    def labels(self) -> TimeLabels: ...
    def at(self, time: float) -> Estimate:
        """The probability at this time."""


class CurvesByGroup(Protocol):
    """One curve, or one a group, with who is still followed."""

    @property
    def people(self) -> Followed: ...
    @property
    def labels(self) -> TimeLabels: ...
    @property
    def groups(self) -> tuple[Hashable, ...]: ...
    def at(self, time: float, group: Hashable | None = None) -> Estimate:
        """The probability at this time, in a group where there are groups."""
    def at_risk_table(self, times: Sequence[float]) -> pd.DataFrame:
        """A row a time (and group): at_risk, events and so on."""


def summary_by_group(
    found: CurvesByGroup, heading: str, counts: Sequence[str], notes: Sequence[str] = (),
) -> Summary:
    """A row a time and group; counts: columns of the table at risk to show (see `COUNTED`)."""
    times = _round_times(found.people)
    followed = found.at_risk_table(times)
    rows = []
    for group in found.groups or (None,):
        mine = followed if group is None else followed[[g == group for g in followed["group"]]]
        for time, row in zip(times, mine.to_dict("records"), strict=True):
            rows.append((
                *((str(group),) if found.groups else ()), found.labels.time(time),
                _share(found.at(time, group)), f"{row['at_risk']:,}",
                *(f"{row[name]:,}" for name in counts)))
    headings = (*((found.people.group_name,) if found.groups else ()), "Time",
                f"{heading} (interval)", "Still followed", *(COUNTED[name] for name in counts))
    start = found.at(0.0, found.groups[0] if found.groups else None)
    level = f"{100 * found.labels.level:g} % intervals. {start.method}."
    return Summary(found.labels.title(found.people.duration.size), headings, tuple(rows),
                   (level, *notes))


def summary_of_curve(found: Curve, heading: str) -> Summary:
    """A row a time of one curve, its method below."""
    times = _round_times(found.people)
    rows = tuple((found.labels.time(time), _share(found.at(time))) for time in times)
    return Summary(found.labels.title(found.people.duration.size), ("Time", heading), rows,
                   (found.at(times[-1]).method,))


def last_round_time(people: Followed) -> float:
    """The last of the times that a summary shows."""
    return _round_times(people)[-1]


def _share(estimate: Estimate) -> str:
    """The value with its interval; the words where it cannot be given."""
    if estimate.value is None:
        return "; ".join(estimate.notes()) or "cannot be given"
    if estimate.low is None or estimate.high is None:
        return f"{percent(estimate.value)} %"
    between = span(percent(estimate.low), percent(estimate.high))
    return f"{percent(estimate.value)} % ({between})"


def _round_times(people: Followed) -> list[float]:
    """A few round times up to the longest follow-up."""
    from matplotlib.ticker import MaxNLocator

    last = float(people.duration.max())
    ticks = MaxNLocator(nbins=ABOUT, steps=[1, 2, 5, 10]).tick_values(0, last)
    inside = [float(t) for t in ticks if 0 < t <= last]
    return inside or [last]
