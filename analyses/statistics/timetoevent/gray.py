"""Gray's test for cumulative incidence, with the difference in incidence beside it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arrays import Floats
from analyses.statistics.timetoevent.at_risk import counts
from analyses.statistics.timetoevent.groups_compared import (
    GroupTest,
    chi_squared,
    common_horizon,
    comparable,
)
from analyses.statistics.timetoevent.incidence_curves import cumulative_incidence
from analyses.statistics.timetoevent.time_inputs import Followed


def gray_test(
    duration: ArrayLike,
    event: ArrayLike,
    group: Any,
    *,
    cause: int = 1,
    time: float | None = None,
    level: float = 0.95,
    cluster: Any = None,
    id: str = "cumulative_incidence",
    unit: str = "",
    measure: str = "",
) -> GroupTest:
    """Do the groups differ in the cumulative incidence of a cause, and by how much?

    Arrays as in `cumulative_incidence`. The test is Gray's (1988, Ann Stat 16:1141) with equal
    weights, agreeing with R cmprsk's cuminc, ties included. The effects are differences in
    cumulative incidence at `time` (default: while a tenth of every group is still followed),
    each later group against the first. Gray's test has no form for several rows a patient:
    with `cluster` naming any patient twice there is no statistic, and the differences with
    their clustered intervals stand alone. Raises ValueError as `cumulative_incidence` does, and
    with fewer than two groups.
    """
    curves = cumulative_incidence(duration, event, group=group, level=level, cluster=cluster,
                                  id=id, unit=unit, measure=measure)
    people = curves.people
    comparable(people)
    parts = [people.part(number) for number in range(len(people.groups))]
    horizon = common_horizon(parts) if time is None else time
    effects = tuple(
        curves.difference(horizon, other, people.groups[0], cause=cause)
        for other in people.groups[1:]
    )
    score = GrayScore(people, cause)
    words = _why_none(people, score)
    found = (None, len(parts) - 1, None) if words else chi_squared(score.scores, score.variance)
    if found[2] is None and not words:
        words = ("the groups were never at risk together when an event happened",)
    table = pd.DataFrame({
        "group": list(people.groups), "n": [p.duration.size for p in parts],
        "observed": score.observed.astype(int), "expected": score.observed - score.scores,
    })
    return GroupTest("Gray's test", *found, table, effects, words)


@dataclass(frozen=True)
class GrayScore:
    """The scores of Gray's test and their variance; arrays are groups down, times across."""

    people: Followed
    cause: int

    @cached_property
    def _events(self) -> tuple[Floats, Floats, Floats]:
        """At risk, events of the cause, events of other causes, at the times with any event."""
        times = np.unique(self.people.duration[self.people.event > 0])
        grid = np.unique(self.people.duration)
        keep = np.isin(grid, times)
        highest = max(self.cause, int(self.people.event.max(initial=1)))
        each = [counts(self.people.part(number), grid, highest)
                for number in range(len(self.people.groups))]
        own = np.array([c.of(self.cause)[keep] for c in each])
        risk = np.array([c.at_risk[keep] for c in each])
        return risk, own, np.array([c.all_events[keep] for c in each]) - own

    @cached_property
    def observed(self) -> Floats:
        """Events of the cause in each group."""
        found: Floats = self._events[1].sum(axis=1)
        return found

    @cached_property
    def _free(self) -> tuple[Floats, Floats]:
        """Each group's probability of no event, just before and just after each time."""
        risk, own, other = self._events
        left = np.where(risk > 0, risk - own - other, 1.0)
        after = np.cumprod(left / np.where(risk > 0, risk, 1.0), axis=1)
        return _before(after, 1.0), after

    @cached_property
    def _weight(self) -> Floats:
        """Number at risk over the probability of no event just before (h in the paper)."""
        risk, before = self._events[0], self._free[0]
        return np.where(risk > 0, risk / np.where(risk > 0, before, 1.0), 0.0)

    @cached_property
    def scores(self) -> Floats:
        """Observed less expected events of the cause, one a group."""
        risk, own, _ = self._events
        incidence = np.cumsum(
            self._free[0] * own / np.where(risk > 0, risk, 1.0), axis=1,
        )
        adjusted = self._weight * (1 - _before(incidence, 0.0))
        total = adjusted.sum(axis=0)
        expected = own.sum(axis=0) * adjusted / np.where(total > 0, total, 1.0)
        found: Floats = (own - expected).sum(axis=1)
        return found

    @cached_property
    def _pooled(self) -> tuple[Floats, Floats]:
        """The cumulative incidence of the cause with all groups alike: its steps and itself."""
        step = self._events[1].sum(axis=0) / self._weight.sum(axis=0)
        return step, np.cumsum(step)

    @cached_property
    def variance(self) -> Floats:
        """Covariance of the scores: for each group, what its events of either kind carry.

        Section 3 of the paper as a sum over event times, each weighted by its variance with
        the correction for ties of cmprsk.
        """
        h = self._weight
        share = h / h.sum(axis=0)
        step, pooled = self._pooled
        # a[i, j]: how group j's deviation at a time moves group i's score; its integral is c
        a = h[:, None, :] * (np.eye(h.shape[0])[:, :, None] - share[None, :, :])
        c = np.cumsum(a * (step / (1 - _before(pooled, 0.0))), axis=2)
        to_come = c[:, :, -1:] - c
        total = np.zeros((h.shape[0], h.shape[0]))
        for k in range(h.shape[0]):
            own, other = self._carried(k)
            after = self._free[1][k]
            ratio = np.where(after > 0, (1 - pooled) / np.where(after > 0, after, 1.0), 0.0)
            mine = a[:, k, :] + (1 - ratio) * to_come[:, k, :]
            theirs = ratio * to_come[:, k, :]
            total += (mine * own) @ mine.T + (theirs * other) @ theirs.T
        return total

    def _carried(self, k: int) -> tuple[Floats, Floats]:
        """Variance of group k's increments at each time: of the cause, and of the others."""
        risk, own, other = (part[k] for part in self._events)
        before, after = (part[k] for part in self._free)
        events, h = self._events[1].sum(axis=0), self._weight.sum(axis=0)
        present = risk > 0
        expected = np.where(present, before / np.where(present, risk, 1.0), 0.0) * events / h
        return (expected * _tie_factor(events, h * before),
                np.where(present & (after > 0), (before / np.where(present, risk, 1.0))**2
                         * other * _tie_factor(other, risk), 0.0))


def _tie_factor(events: Floats, at_risk: Floats) -> Floats:
    """1 − (d − 1)/(n − 1) for more than one event at a time, else 1."""
    tied = events > 1
    return np.where(tied, 1 - (events - 1) / np.where(tied, at_risk - 1, 1.0), 1.0)


def _before(after: Floats, start: float) -> Floats:
    """The same step function just before each time."""
    first = np.full((*after.shape[:-1], 1), start)
    return np.concatenate([first, after[..., :-1]], axis=-1)


def _why_none(people: Followed, score: GrayScore) -> tuple[str, ...]:
    if people.clusters is not None and people.clusters < people.duration.size:
        return ("Gray's test has no form for several rows a patient: read the differences, "
                "whose intervals are by patient",)
    if score.observed.sum() == 0:
        return ("no such event in any group",)
    return ()
