"""Cumulative incidence weighted for loss to follow-up, beside the plain Aalen–Johansen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.table_numbers import number_at
from analyses.statistics.timetoevent.aalen_johansen import AalenJohansen
from analyses.statistics.timetoevent.at_risk import at_risk_matrix, event_matrix
from analyses.statistics.timetoevent.censoring_model import censoring_model
from analyses.statistics.timetoevent.curves_shown import summary_of_curve
from analyses.statistics.timetoevent.time_inputs import Followed, followed, whole_time
from analyses.statistics.timetoevent.time_labels import TimeLabels, finite, unit_name, unread_words
from analyses.statistics.timetoevent.time_limits import (
    incidence_limits,
    settled,
    zero_event_bound,
)
from analyses.words.self_showing import Displayed, Summary

HEAVY = 10.0
"""A row that counts for more than this many average ones is said (common practice, no source)."""

LOSSES_A_COVARIATE = 5
"""Fewer losses for each covariate than this are said to be too few (common practice, no source;
Vittinghoff and McCulloch 2007, Am J Epidemiol 165:710, for five to nine)."""


@dataclass(frozen=True)
class WeightedIncidence(Displayed):
    """Curve of the event of interest with the covariates of those lost allowed for."""

    people: Followed
    labels: TimeLabels
    covariates: Floats
    replicates: int
    seed: int

    @cached_property
    def times(self) -> Floats:
        """The distinct times at which somebody left."""
        return np.unique(self.people.duration)

    @cached_property
    def _fit(self) -> tuple[Floats, float]:
        return _weighted(self.people, self.covariates, self.times)

    @property
    def largest_weight(self) -> float:
        """How many average rows at risk the most heavily weighted one counts for."""
        return self._fit[1]

    @cached_property
    def _bootstrap(self) -> tuple[Floats, int]:
        """Standard error at each time from whole patients drawn again, and the failures."""
        return _bootstrap(self.people, self.covariates, self.times, self.replicates, self.seed)

    @cached_property
    def table(self) -> pd.DataFrame:
        """A row a distinct time: time, estimate, low, high, se, at_risk, events, censored."""
        plain = AalenJohansen(self.people, self.labels.level)
        estimate, (se, _) = self._fit[0], self._bootstrap
        low, high = incidence_limits(estimate, se, plain.units(self.times), self.labels.level)
        c = plain.counts
        return pd.DataFrame({
            "time": self.times, "estimate": estimate, "low": low, "high": high, "se": se,
            "at_risk": c.at_risk.astype(int), "events": c.of(1).astype(int),
            "censored": c.censored.astype(int),
        })

    def at(self, time: float) -> Estimate:
        """The weighted probability of the event by `time`; None where it cannot be read."""
        time, people = whole_time(time), self.people
        place = int(np.searchsorted(self.times, time, side="right")) - 1
        words, unread = self._words(), unread_words(people, time, self.labels)
        if unread:
            found, words = [np.nan] * 3, (*words, *unread)
        elif place < 0:
            units = AalenJohansen(people, self.labels.level).units(np.array([time]))
            found = [0.0, 0.0, 1 - float(zero_event_bound(units, self.labels.level)[0])]
        else:
            found = [number_at(self.table, place, name) for name in ("estimate", "low", "high")]
        return self.labels.estimate(
            people, "probability",
            "Aalen–Johansen weighted for loss (inverse probability of censoring), bootstrap of "
            f"patients, {self.replicates} replicates, limits F^exp(±z·se/(F·ln F))",
            *(finite(v) for v in found), words=words,
            happened=(people.event == 1) & (people.duration <= time),
        )

    def summary(self) -> Summary:
        """The value at round times."""
        return summary_of_curve(self, "With the event (interval)")

    def _words(self) -> tuple[str, ...]:
        said, columns = [], self.covariates.shape[1]
        lost = int(np.sum(self.people.event == 0))
        if columns == 0:
            said.append("no covariate of loss given: the weighted result is the plain one")
        elif lost < LOSSES_A_COVARIATE * columns:
            said.append(f"{lost} losses for {columns} covariates: too few for a good model")
        if self.largest_weight > HEAVY:
            said.append(f"one row counts for {self.largest_weight:.0f} average ones: the result "
                        "hangs on few")
        if self._bootstrap[1]:
            said.append(f"{self._bootstrap[1]} of {self.replicates} replicates gave no fit")
        return tuple(said)


def weighted_cumulative_incidence(
    duration: ArrayLike,
    event: ArrayLike,
    *,
    covariates: Any = None,
    cluster: Any = None,
    level: float = 0.95,
    keys: Sequence[Any] | None = None,
    replicates: int = 400,
    seed: int = 20240229,
    id: str = "cumulative_incidence.weighted",
    unit: str = "",
    measure: str = "",
    label: str = "",
) -> WeightedIncidence:
    """Cumulative incidence as it would be had nobody been lost whose covariates predict loss.

    Arrays as in `cumulative_incidence`. covariates: a DataFrame (or two-dimensional array) with
    a row a row, numbers or categories, nothing missing; how likely each row is to be still
    followed comes from a Cox model of the censoring, and every row at risk counts with the
    inverse of it (Robins and Finkelstein 2000, Biometrics 56:779). Without covariates the
    result is the Aalen–Johansen estimate itself. Standard errors from a bootstrap of whole
    patients (of rows where `cluster` names none), the model fitted anew each time.

    Raises ValueError in plain sentences for arrays that cannot be read so, and where the model
    of the censoring does not settle.
    """
    people = followed(duration, event, cluster=cluster, keys=keys)
    labels = TimeLabels(id, unit_name(unit, cluster), measure, check_level(level), label)
    columns = design(covariates, people.duration.size)
    if replicates < 2:
        raise ValueError(f"replicates is {replicates}; a bootstrap needs 2 or more.")
    return WeightedIncidence(people, labels, columns, replicates, seed)


def design(covariates: Any, rows: int) -> Floats:
    """Numbers as they are, categories as 0/1 columns for all but the first.

    Raises ValueError for a wrong number of rows, or a value that is missing.
    """
    if covariates is None:
        return np.zeros((rows, 0))
    frame = pd.DataFrame(covariates)
    if len(frame) != rows:
        raise ValueError(f"covariates has {len(frame)} rows and duration has {rows}; "
                         "both need one a row.")
    missing = [str(name) for name in frame.columns if frame[name].isna().any()]
    if missing:
        raise ValueError(f"covariates has missing values in {', '.join(missing)}; fill them in "
                         "(imputation) or leave the column out.")
    wide = pd.get_dummies(frame, drop_first=True).to_numpy(dtype=np.float64)
    return wide[:, np.ptp(wide, axis=0) > 0] if wide.size else wide


def _weighted(people: Followed, covariates: Floats, times: Floats) -> tuple[Floats, float]:
    """The curve at `times`, and the largest weight at an event, over the mean of those at risk."""
    everyone, rank = np.unique(people.duration, return_inverse=True)
    at = np.unique(rank[people.event > 0])
    lost = people.event == 0
    model = censoring_model((2 * rank + lost).astype(float), lost, covariates)
    follow = model.still_followed(2.0 * at, covariates)
    own = everyone[at]
    risk = at_risk_matrix(people, own)
    weight = np.where(risk > 0, risk / np.where(follow > 0, follow, 1.0), 0.0)
    total = weight.sum(axis=0)
    any_event = (weight * event_matrix(people, own, None)).sum(axis=0) / total
    mine = (weight * event_matrix(people, own, 1)).sum(axis=0) / total
    free = np.concatenate([[1.0], np.cumprod(1 - any_event)])
    curve = np.concatenate([[0.0], settled(np.cumsum(free[:-1] * mine))])
    heaviest = float((weight / (total / risk.sum(axis=0))).max(initial=1.0))
    return curve[np.searchsorted(own, times, side="right")], heaviest


def _bootstrap(
    people: Followed, covariates: Floats, times: Floats, replicates: int, seed: int,
) -> tuple[Floats, int]:
    """Standard error at each time, and how many replicates gave no fit."""
    rng = np.random.default_rng(seed)
    patient = np.arange(people.duration.size) if people.cluster is None else people.cluster
    rows_of = [np.flatnonzero(patient == one) for one in np.unique(patient)]
    found, failed = [], 0
    for _ in range(replicates):
        drawn = rng.integers(0, len(rows_of), len(rows_of))
        rows = np.concatenate([rows_of[one] for one in drawn])
        again = replace(people, duration=people.duration[rows], event=people.event[rows],
                        cluster=None, group=people.group[rows], keys=None)
        try:
            found.append(_weighted(again, covariates[rows], times)[0])
        except ValueError:
            failed += 1
    if len(found) < 2:
        return np.full(times.size, np.nan), failed
    return np.std(np.array(found), axis=0, ddof=1), failed
