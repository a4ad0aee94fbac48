"""Cumulative incidence with competing events, as a reader meets it: table, value at a time."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level
from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.aalen_johansen import AalenJohansen
from analyses.statistics.timetoevent.at_risk import number_at_risk
from analyses.statistics.timetoevent.curves_shown import summary_by_group
from analyses.statistics.timetoevent.time_differences import (
    aligned,
    correlation,
    difference_estimate,
    triple,
)
from analyses.statistics.timetoevent.time_inputs import Followed, followed, whole_time
from analyses.statistics.timetoevent.time_labels import (
    TimeLabels,
    finite,
    one_group,
    unit_name,
    unread_words,
)
from analyses.statistics.timetoevent.time_limits import limits_of_difference
from analyses.words.self_showing import Displayed, Summary

PLAIN = "Aalen–Johansen, limits F^exp(±z·se/(F·ln F)), variance after Gray with ties"
ROBUST = "Aalen–Johansen, limits F^exp(±z·se/(F·ln F)), variance by patient (infinitesimal " \
    "jackknife)"


@dataclass(frozen=True)
class IncidenceCurves(Displayed):
    """One curve a cause, and a set of them a group.

    Where groups were asked for, `at` wants one of `groups`. `causes` are the event codes.
    """

    people: Followed
    labels: TimeLabels

    @property
    def groups(self) -> tuple[Hashable, ...]:
        """The groups in their order; () where none were asked for."""
        return self.people.groups

    @cached_property
    def causes(self) -> tuple[int, ...]:
        """The event codes: 1, and every competing code that occurs."""
        return tuple(sorted({1, *self.people.event[self.people.event > 0].tolist()}))

    @cached_property
    def _curves(self) -> tuple[AalenJohansen, ...]:
        return tuple(
            AalenJohansen(self.people.part(number), self.labels.level)
            for number in range(max(1, len(self.groups)))
        )

    def curve(self, group: Hashable | None = None) -> AalenJohansen:
        """The numbers of one group (arrays, for tests and figures)."""
        return self._curves[one_group(self.groups, group)[0]]

    @cached_property
    def table(self) -> pd.DataFrame:
        """A row a distinct time, all causes side by side.

        time, estimate, low, high, se, at_risk, events, censored and event_free for the event of
        interest; estimate_2, low_2, high_2, se_2, events_2 and so on for each competing code.
        A `group` column comes first where groups were asked for.
        """
        return self._stacked([self._wide(curve) for curve in self._curves])

    def cause_table(self, cause: int) -> pd.DataFrame:
        """The columns of `table` for one cause alone: time, estimate, low, high, se, at_risk,
        events, censored. Raises ValueError where the code does not occur."""
        self._known(cause)
        return self._stacked([_table(curve, cause) for curve in self._curves])

    def at(self, time: float, group: Hashable | None = None, *, cause: int = 1) -> Estimate:
        """The probability of the event by `time`, with its interval.

        Where too few are still watched (`read_to`), or nobody, the value is None and a flag says
        so. Raises ValueError for a negative time, an unknown group or cause.
        """
        time = whole_time(time)
        self._known(cause)
        curve, label = self.curve(group), one_group(self.groups, group)[1]
        people = curve.people
        value, low, high = curve.value_at(time, cause)
        unread = unread_words(people, time, self.labels)
        if unread:
            value, low, high = np.nan, np.nan, np.nan
        return self.labels.estimate(
            people, "probability", ROBUST if people.repeated else PLAIN,
            finite(value), finite(low), finite(high),
            happened=(people.event == cause) & (people.duration <= time), group=label,
            words=unread or _words_at(people, time, value),
            suffix="" if cause == 1 else f".cause_{cause}",
        )

    def difference(
        self, time: float, group: Hashable, reference: Hashable, *, cause: int = 1,
    ) -> Estimate:
        """Cumulative incidence at `time` in `group` minus `reference`, by squares and sums.

        Patients who stand in both groups are allowed for where they were named.
        """
        ours, theirs = (self.at(time, g, cause=cause) for g in (group, reference))
        shared = 0.0
        if self.people.repeated:
            shared = correlation(*aligned(*(
                self.curve(g).influence_at(time, cause) for g in (group, reference)
            )))
        return difference_estimate(
            self.people, ours, theirs, limits_of_difference(triple(ours), triple(theirs), shared),
            "difference of two Aalen–Johansen estimates, limits by squares and sums",
        )

    def at_risk_table(self, times: Sequence[float]) -> pd.DataFrame:
        """For under a figure: a row a time (and group): still at risk then; events of interest,
        competing events and censorings up to and including that time."""
        parts = []
        for curve in self._curves:
            people, rows = curve.people, []
            for time in (whole_time(t) for t in times):
                past = people.duration <= time
                rows.append({
                    "time": time,
                    "at_risk": int(number_at_risk(people, np.array([time]))[0]),
                    "events": int(np.sum(past & (people.event == 1))),
                    "competing": int(np.sum(past & (people.event > 1))),
                    "censored": int(np.sum(past & (people.event == 0))),
                })
            parts.append(pd.DataFrame(rows, columns=["time", "at_risk", "events", "competing",
                                                     "censored"]))
        return self._stacked(parts)

    def summary(self) -> Summary:
        """The value at round times, with who is still followed."""
        return summary_by_group(self, "With the event", ("events", "competing"))

    def _known(self, cause: int) -> None:
        if cause not in self.causes:
            known = ", ".join(map(str, self.causes))
            raise ValueError(f"There is no event code {cause}; the codes here are {known}.")

    def _wide(self, curve: AalenJohansen) -> pd.DataFrame:
        table = _table(curve, 1)
        table["event_free"] = curve.event_free
        for cause in self.causes[1:]:
            other = _table(curve, cause)
            for column in ("estimate", "low", "high", "se", "events"):
                table[f"{column}_{cause}"] = other[column]
        return table

    def _stacked(self, parts: list[pd.DataFrame]) -> pd.DataFrame:
        if not self.groups:
            return parts[0]
        for part, group in zip(parts, self.groups, strict=True):
            part.insert(0, "group", [group] * len(part))
        return pd.concat(parts, ignore_index=True)


def cumulative_incidence(
    duration: ArrayLike,
    event: ArrayLike,
    *,
    group: Any = None,
    level: float = 0.95,
    cluster: Any = None,
    keys: Sequence[Any] | None = None,
    id: str = "cumulative_incidence",
    unit: str = "",
    measure: str = "",
    label: str = "",
) -> IncidenceCurves:
    """Aalen–Johansen estimate of the probability of each event where others compete with it.

    duration: time from the start to the first event or the end of follow-up, one a row, any
    unit (name it in `measure`); event: 0 censored, 1 the event of interest, 2 and above
    competing (death). cluster: the patient of each row where a patient has several: the
    variance is then the infinitesimal jackknife summed by patient. keys: what to call the rows
    in the list of cases; label: the title of the summary.

    Estimates and variances agree with R cmprsk's cuminc (Gray 1988, Ann Stat 16:1141), the
    clustered variances with the influences of R survival's survfit summed by patient; limits as
    Choudhury 2002, Stat Med 21:1129. Raises ValueError in plain sentences for arrays that cannot
    be read so.
    """
    people = followed(duration, event, group=group, cluster=cluster, keys=keys)
    labels = TimeLabels(id, unit_name(unit, cluster), measure, check_level(level), label)
    return IncidenceCurves(people, labels)


def _table(curve: AalenJohansen, cause: int) -> pd.DataFrame:
    c, (low, high) = curve.counts, curve.limits(cause)
    return pd.DataFrame({
        "time": c.time, "estimate": curve.incidence(cause), "low": low, "high": high,
        "se": curve.se(cause), "at_risk": c.at_risk.astype(int),
        "events": c.of(cause).astype(int), "censored": c.censored.astype(int),
    })


def _words_at(people: Followed, time: float, value: float) -> tuple[str, ...]:
    """What goes with a number that may be read."""
    if time > people.duration.max():  # nobody was lost, else it would not be read
        return ("everybody has had an event by then",)
    if value == 0:
        return ("no such event yet: exact upper limit for the number followed so far",)
    return ()
