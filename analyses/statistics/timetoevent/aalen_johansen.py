"""The Aalen–Johansen numbers of one group: cumulative incidence of each cause, its variance."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.timetoevent.at_risk import (
    Counts,
    at_risk_matrix,
    by_cluster,
    counts,
    event_matrix,
    throughout,
)
from analyses.statistics.timetoevent.time_inputs import Followed
from analyses.statistics.timetoevent.time_limits import (
    incidence_limits,
    settled,
    zero_event_bound,
)


@dataclass(frozen=True)
class AalenJohansen:
    """The curves of one group, one a cause. Aalen and Johansen 1978, Scand J Stat 5:141.

    Ties are handled exactly: all events of one time share one risk set, whatever their cause. Own
    code for that: lifelines 0.30 moves tied times apart at random (60 rows in whole years: 0.292;
    lifelines 0.297 to 0.305, seed by seed).
    """

    people: Followed
    level: float

    @cached_property
    def counts(self) -> Counts:
        return counts(self.people)

    @cached_property
    def event_free(self) -> Floats:
        """Probability of no event of any cause, just after each time."""
        c = self.counts
        return np.cumprod((c.at_risk - c.all_events) / c.at_risk)

    @cached_property
    def before(self) -> Floats:
        """The same just before each time."""
        return np.concatenate([[1.0], self.event_free[:-1]])

    def incidence(self, cause: int) -> Floats:
        """F(t) of a cause, just after each time."""
        return settled(np.cumsum(self.before * self.counts.of(cause) / self.counts.at_risk))

    def se(self, cause: int) -> Floats:
        """Standard error of F(t), one a time."""
        if self.people.repeated:
            found: Floats = np.sqrt((self.influence(cause)**2).sum(axis=0))
            return found
        return np.sqrt(np.maximum(self._variance(cause), 0.0))

    def influence(self, cause: int) -> Floats:
        """What each unit (patient, else row) adds to F(t): units down, times across.

        The infinitesimal jackknife: the derivative of F to the weight of a row, summed by
        patient (Therneau and Grambsch 2000; R survfit for several states does the same).
        """
        c = self.counts
        risk = at_risk_matrix(self.people, c.time)
        any_event = event_matrix(self.people, c.time, None)
        stay = c.at_risk - c.all_events
        step = (any_event - risk * (c.all_events / c.at_risk)) / np.where(stay > 0, stay, 1.0)
        free = -np.cumsum(np.where(stay > 0, step, 0.0), axis=1) * self.event_free
        free_before = np.hstack([np.zeros((free.shape[0], 1)), free[:, :-1]])
        hazard = c.of(cause) / c.at_risk
        hit = event_matrix(self.people, c.time, cause)
        each = free_before * hazard + self.before * (hit - risk * hazard) / c.at_risk
        return by_cluster(np.cumsum(each, axis=1), self.people.cluster)

    def limits(self, cause: int) -> tuple[Floats, Floats]:
        """Lower and upper limit of F(t) at each time."""
        return incidence_limits(
            self.incidence(cause), self.se(cause), self.units(self.counts.time), self.level,
        )

    def value_at(self, time: float, cause: int) -> tuple[float, float, float]:
        """F, low and high at any time from 0; the last of each where nothing happens later."""
        place = int(np.searchsorted(self.counts.time, time, side="right")) - 1
        value = 0.0 if place < 0 else float(self.incidence(cause)[place])
        if value <= 0:
            units = self.units(np.array([time]))
            return 0.0, 0.0, 1 - float(zero_event_bound(units, self.level)[0])
        low, high = self.limits(cause)
        return value, float(low[place]), float(high[place])

    def influence_at(self, time: float, cause: int) -> Floats:
        """What each unit adds to F(time)."""
        place = int(np.searchsorted(self.counts.time, time, side="right")) - 1
        found = self.influence(cause)
        return np.zeros(found.shape[0]) if place < 0 else found[:, place]

    def units(self, times: Floats) -> Floats:
        """How many units' outcome is known that far, had nobody died of another cause.

        Those still at risk over the share still free of any event: the number that censoring
        has left, rounded down. Without censoring it is the number at the start.
        """
        place = np.searchsorted(self.counts.time, times, side="left")
        free = np.concatenate([[1.0], self.event_free])[place]
        still = throughout(self.people, times)
        known = np.floor(still / np.where(free > 0, free, 1.0) + 1e-9)
        start = throughout(self.people, np.array([0.0]))[0]
        kept = np.where((free > 0) & (still > 0), np.minimum(known, start), np.inf)
        last = np.minimum.accumulate(kept)
        return np.where(np.isfinite(last), last, start)

    def _variance(self, cause: int) -> Floats:
        """Variance of F(t) with the correction for ties of R's cmprsk.

        Sum over the times u up to t of S(u−)²/n² · [ d₁(n − d₁)/(n − 1) · (1 − g)²
        + d₂(n − d₂)/(n − 1) · g² ] with g = (F(t) − F(u))/S(u), d₁ the cause and d₂ all
        others; g is 0 where S(u) is 0. Expanded in powers of F(t) to stay linear in time.
        """
        c, f = self.counts, self.incidence(cause)
        base = (self.before / c.at_risk)**2
        mine = base * _tied(c.of(cause), c.at_risk)
        other = base * _tied(c.all_events - c.of(cause), c.at_risk)
        alive = self.event_free > 0
        inverse = np.where(alive, 1 / np.where(alive, self.event_free, 1.0), 0.0)
        other = np.where(alive, other, 0.0)
        constant = np.cumsum(mine * (1 + f * inverse)**2 + other * (f * inverse)**2)
        linear = np.cumsum(inverse * (mine * (1 + f * inverse) + other * f * inverse))
        square = np.cumsum(inverse**2 * (mine + other))
        return constant - 2 * f * linear + f**2 * square


def _tied(d: Floats, n: Floats) -> Floats:
    """d(n − d)/(n − 1), the variance factor of d events at one time; d where n is 1."""
    return np.where(n > 1, d * (n - d) / np.where(n > 1, n - 1, 1.0), d)
