"""Kaplan–Meier curves as a reader meets them: table, value at a time, median, restricted mean."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level
from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.at_risk import number_at_risk
from analyses.statistics.timetoevent.curves_shown import summary_by_group
from analyses.statistics.timetoevent.kaplan_meier import KaplanMeier
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
from analyses.statistics.timetoevent.time_limits import limits_of_difference, z_value
from analyses.words import flags
from analyses.words.self_showing import Displayed, Summary

GREENWOOD = "Kaplan–Meier, log–log interval"
ROBUST = "Kaplan–Meier, log–log interval, variance by patient (infinitesimal jackknife)"
REVERSE = "reverse Kaplan–Meier, log–log interval"


@dataclass(frozen=True)
class SurvivalCurves(Displayed):
    """One Kaplan–Meier curve, or one a group.

    Where groups were asked for, `at`, `median` and `restricted_mean` want one of `groups`.
    """

    people: Followed
    labels: TimeLabels
    words: tuple[str, ...] = ()
    method: str = GREENWOOD

    @property
    def groups(self) -> tuple[Hashable, ...]:
        """The groups in their order; () where none were asked for."""
        return self.people.groups

    @cached_property
    def _curves(self) -> tuple[KaplanMeier, ...]:
        return tuple(
            KaplanMeier(self.people.part(number), self.labels.level)
            for number in range(max(1, len(self.groups)))
        )

    def curve(self, group: Hashable | None = None) -> KaplanMeier:
        """The numbers of one curve (arrays, for tests and figures)."""
        return self._curves[one_group(self.groups, group)[0]]

    @cached_property
    def table(self) -> pd.DataFrame:
        """A row a distinct time: time, estimate, low, high, se, at_risk, events, censored.

        The group's own column comes first, called `group`, where groups were asked for.
        """
        parts = [_table(curve) for curve in self._curves]
        if not self.groups:
            return parts[0]
        for part, group in zip(parts, self.groups, strict=True):
            part.insert(0, "group", [group] * len(part))
        return pd.concat(parts, ignore_index=True)

    def at(self, time: float, group: Hashable | None = None) -> Estimate:
        """The probability of no event by `time`, with its interval.

        Where too few are still watched (`read_to`), or nobody, the value is None and a flag says
        so. Raises ValueError for a negative time or an unknown group.
        """
        time = whole_time(time)
        curve, label = self.curve(group), one_group(self.groups, group)[1]
        people = curve.people
        happened = (people.event == 1) & (people.duration <= time)
        value, low, high = curve.value_at(time)
        unread = unread_words(people, time, self.labels)
        words = (*self.words, *(unread or _words_at(people, time, value)))
        if unread:
            value, low, high = np.nan, np.nan, np.nan
        return self.labels.estimate(
            people, "probability", self._method(people), finite(value), finite(low), finite(high),
            happened=happened, group=label, words=words,
        )

    def median(self, group: Hashable | None = None) -> Estimate:
        """The median time, with the times at which the limits of the curve cross one half.

        Brookmeyer and Crowley 1982, Biometrics 38:29, on the log–log limits. Not reached:
        value None; an upper limit that is not reached is infinite.
        """
        curve, label = self.curve(group), one_group(self.groups, group)[1]
        low_curve = np.where(curve.survival < 1, curve.limits[0], np.nan)
        value, low, high = (
            curve.quantile(c) for c in (curve.survival, low_curve, curve.limits[1])
        )
        words = list(self.words)
        unread: tuple[str, ...] = ()
        if np.isfinite(value) and self.method != REVERSE:  # that is of the watching itself
            unread = unread_words(curve.people, value, self.labels)
        if unread:
            words.extend(unread)
            value = low = high = np.inf
        elif np.isinf(value):
            words.append("the median was not reached: more than half had no event by the last "
                         f"follow-up ({self.labels.time(float(curve.people.duration.max()))})")
        elif np.isinf(high):
            words.append(flags.UNBOUNDED)
        not_reached = np.isinf(low)
        return self.labels.estimate(
            curve.people, "median", self._method(curve.people) + " (Brookmeyer–Crowley)",
            None if np.isinf(value) else value, None if not_reached else low,
            None if not_reached else high, happened=curve.people.event == 1,
            group=label, words=tuple(words), measure=self.labels.measure, suffix=".median",
        )

    def restricted_mean(self, tau: float, group: Hashable | None = None) -> Estimate:
        """The mean time without the event within the first `tau`, with a normal interval.

        The area under the curve (Royston and Parmar 2013, BMC Med Res Methodol 13:152). None
        with a flag where the curve cannot be read so far. With no event by tau the lower limit is
        tau times the exact lower limit of survival at tau.
        """
        tau = whole_time(tau, "tau")
        curve, label = self.curve(group), one_group(self.groups, group)[1]
        people = curve.people
        value, low, high, words = _restricted(curve, tau, self.labels)
        return self.labels.estimate(
            people, "restricted mean", f"area under the Kaplan–Meier curve to "
            f"{self.labels.time(tau)}", finite(value), finite(low), finite(high),
            happened=(people.event == 1) & (people.duration <= tau), group=label,
            words=(*self.words, *words), measure=self.labels.measure, suffix=".restricted_mean",
        )

    def difference(self, time: float, group: Hashable, reference: Hashable) -> Estimate:
        """Survival at `time` in `group` minus `reference`, limits by squares and sums.

        Patients who stand in both groups are allowed for where they were named.
        """
        ours, theirs = self.at(time, group), self.at(time, reference)
        low, high = limits_of_difference(
            triple(ours), triple(theirs), self._correlation(time, group, reference),
        )
        return difference_estimate(
            self.people, ours, theirs, (low, high),
            "difference of two Kaplan–Meier estimates, limits by squares and sums",
        )

    def at_risk_table(self, times: Sequence[float]) -> pd.DataFrame:
        """For under a figure: a row a time (and group), with the number still at risk then,
        and the events and censorings up to and including that time."""
        rows = []
        for curve, group in zip(self._curves, self.groups or (None,), strict=True):
            people = curve.people
            asked = np.array([whole_time(t) for t in times])
            here = number_at_risk(people, asked).astype(int)
            for time, left in zip(asked, here, strict=True):
                past = people.duration <= time
                rows.append({"group": group, "time": float(time), "at_risk": int(left),
                             "events": int(np.sum(past & (people.event == 1))),
                             "censored": int(np.sum(past & (people.event != 1)))})
        table = pd.DataFrame(rows, columns=["group", "time", "at_risk", "events", "censored"])
        return table if self.groups else table.drop(columns="group")

    def summary(self) -> Summary:
        """The value at round times, with who is still followed."""
        return summary_by_group(self, "Without the event", ("events",),
                                [f"{words}." for words in self.words])

    def _method(self, people: Followed) -> str:
        return ROBUST if people.repeated else self.method

    def _correlation(self, time: float, group: Hashable, reference: Hashable) -> float:
        if not self.people.repeated:
            return 0.0
        return correlation(*aligned(self.curve(group).influence_at(time),
                                    self.curve(reference).influence_at(time)))


def survival(
    duration: ArrayLike,
    event: ArrayLike,
    *,
    group: Any = None,
    level: float = 0.95,
    entry: ArrayLike | None = None,
    keys: Sequence[Any] | None = None,
    cluster: Any = None,
    competing: Literal["refuse", "censor"] = "refuse",
    id: str = "survival",
    unit: str = "",
    measure: str = "",
    label: str = "",
) -> SurvivalCurves:
    """Kaplan–Meier estimate of the probability of no event, with log–log intervals.

    duration: time from the start to the event or the end of follow-up, one a row, any unit
    (name it in `measure`, such as "years"); event: 0 censored, 1 event; label: the title of the
    summary. entry: time at which a
    row came under observation (left truncation). cluster: the patient of each row where a
    patient has several: the variance is then the infinitesimal jackknife summed by
    patient. keys: what to call the rows in the list of cases. Codes 2 and above are refused,
    since censoring a death pretends that the dead can still have the event: use
    `cumulative_incidence`, or say competing="censor" and every estimate carries that remark.

    Agrees with R survival: survfit(conf.type="log-log"), with cluster and robust=TRUE.
    Raises ValueError in plain sentences for arrays that cannot be read so.
    """
    people = followed(duration, event, group=group, entry=entry, cluster=cluster, keys=keys)
    words = _competing_words(people, competing) + _late_entry_words(people)
    labels = TimeLabels(id, unit_name(unit, cluster), measure, check_level(level), label)
    return SurvivalCurves(people, labels, words)


def follow_up(
    duration: ArrayLike,
    event: ArrayLike,
    *,
    group: Any = None,
    level: float = 0.95,
    entry: ArrayLike | None = None,
    keys: Sequence[Any] | None = None,
    cluster: Any = None,
    id: str = "follow_up",
    unit: str = "",
    measure: str = "",
) -> SurvivalCurves:
    """How long people were followed: reverse Kaplan–Meier; its `.median()` is the median
    follow-up.

    Being censored is the event, and any event (death as well) ends the watching of it:
    Schemper and Smith 1996, Control Clin Trials 17:343. Input and errors as in `survival`.
    """
    people = followed(duration, event, group=group, entry=entry, cluster=cluster, keys=keys)
    turned = replace(people, event=np.where(people.event == 0, 1, 0))
    labels = TimeLabels(id, unit_name(unit, cluster), measure, check_level(level))
    return SurvivalCurves(turned, labels, _late_entry_words(people), REVERSE)


def _words_at(people: Followed, time: float, value: float) -> tuple[str, ...]:
    """What goes with a number that may be read."""
    last = float(people.duration.max())
    if value == 0 and time > last:
        return ("the curve has reached 0",)
    if value == 0 and time < last:
        return ("late entry: the few at risk early all had the event, which ends the curve "
                "although others were followed later",)
    return ("no event yet: exact lower limit for those still followed",) if value == 1 else ()


def _restricted(
    curve: KaplanMeier, tau: float, labels: TimeLabels,
) -> tuple[float, float, float, tuple[str, ...]]:
    """Value, low, high and words of a restricted mean."""
    nan = float("nan")
    survives, at_least, _ = curve.value_at(tau)
    unread = unread_words(curve.people, tau, labels)
    if unread:
        return nan, nan, nan, unread
    value, se = curve.restricted_mean(tau)
    if survives >= 1:
        return value, tau * at_least, tau, ("no event yet: exact lower limit",)
    if not se > 0:
        return value, nan, nan, (flags.NO_INTERVAL,)
    wide = z_value(labels.level) * se
    return value, max(0.0, value - wide), min(tau, value + wide), ()


def _table(curve: KaplanMeier) -> pd.DataFrame:
    c, (low, high) = curve.counts, curve.limits
    return pd.DataFrame({
        "time": c.time, "estimate": curve.survival, "low": low, "high": high, "se": curve.se,
        "at_risk": c.at_risk.astype(int), "events": c.of(1).astype(int),
        "censored": (c.censored + c.all_events - c.of(1)).astype(int),
    })


def _competing_words(people: Followed, competing: str) -> tuple[str, ...]:
    number = int(np.sum(people.event > 1))
    if competing not in ("refuse", "censor"):
        raise ValueError(f'competing is {competing!r}; it has to be "refuse" or "censor".')
    if number and competing == "refuse":
        raise ValueError(
            f"event holds {number} competing events (codes 2 and above), which Kaplan–Meier "
            "cannot show honestly. Use cumulative_incidence, or count them as the event (a "
            'combined end point), or say competing="censor" to censor them and have it said.'
        )
    if number:
        return (f"{number} competing events counted as censored: not the share of patients to "
                "expect",)
    return ()


def _late_entry_words(people: Followed) -> tuple[str, ...]:
    if people.entry is None or not np.ptp(people.entry) > 0:
        return ()
    return ("late entry: holds for those without an event before they were first seen",)
