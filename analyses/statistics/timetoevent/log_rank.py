"""The log-rank test, with the difference in restricted mean beside it.

Worked out by lifelines, which knows neither late entry nor patients who repeat: for these the
variance is our own.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arrays import Floats, Mask
from analyses.statistics.timetoevent.at_risk import (
    Counts,
    at_risk_matrix,
    by_cluster,
    counts,
    event_matrix,
)
from analyses.statistics.timetoevent.groups_compared import (
    GroupTest,
    chi_squared,
    common_horizon,
    comparable,
)
from analyses.statistics.timetoevent.mean_differences import difference_in_restricted_mean
from analyses.statistics.timetoevent.survival_curves import survival
from analyses.statistics.timetoevent.time_inputs import Followed


def log_rank_test(
    duration: ArrayLike,
    event: ArrayLike,
    group: Any,
    *,
    entry: ArrayLike | None = None,
    cluster: Any = None,
    tau: float | None = None,
    level: float = 0.95,
    competing: Literal["refuse", "censor"] = "refuse",
    id: str = "survival",
    unit: str = "",
    measure: str = "",
) -> GroupTest:
    """Do the groups differ in how soon the event comes, and by how much?

    Arrays as in `survival`. The test is the log-rank test with the variance for ties (Mantel
    1966; Peto and Peto 1972; R survdiff); with `cluster` the variance of its scores is summed
    by patient (the robust score test of R coxph with Breslow's ties). The effects are
    differences in restricted mean up to `tau` (default: while a tenth of every group is still
    followed), each later group against the first. Raises ValueError as `survival` does, and
    with fewer than two groups.
    """
    curves = survival(duration, event, group=group, entry=entry, cluster=cluster, level=level,
                      competing=competing, id=id, unit=unit, measure=measure)
    people = curves.people
    comparable(people)
    parts = [people.part(number) for number in range(len(people.groups))]
    horizon = common_horizon(parts) if tau is None else tau
    together, each = _counted(people, parts)
    observed = np.array([c.of(1).sum() for c in each])
    expected = _expected(together, each)
    statistic, df, p = _statistic(people, together, each, observed - expected)
    effects = tuple(
        difference_in_restricted_mean(curves, horizon, other, people.groups[0])
        for other in people.groups[1:]
    )
    words = curves.words if p is not None else (*curves.words, _why_none(observed))
    return GroupTest(
        "log-rank test" if cluster is None else "log-rank test, variance by patient",
        statistic, df, p, _table(people, parts, observed, expected), effects, words,
    )


def _counted(people: Followed, parts: list[Followed]) -> tuple[Counts, list[Counts]]:
    """Counts of all and of each group at the same times."""
    times = np.unique(people.duration)
    highest = int(people.event.max(initial=1))
    return counts(people, times, highest), [counts(p, times, highest) for p in parts]


def _expected(together: Counts, each: list[Counts]) -> Floats:
    hazard = together.of(1) / together.at_risk
    return np.array([float(c.at_risk @ hazard) for c in each])


def _statistic(
    people: Followed, together: Counts, each: list[Counts], scores: Floats,
) -> tuple[float | None, int, float | None]:
    """Groups in which nobody was ever at risk at an event say nothing and are left out."""
    hazard = together.of(1) > 0
    inside = np.array([bool((c.at_risk[hazard] > 0).any()) for c in each])
    if inside.sum() < 2:
        return None, max(0, int(inside.sum()) - 1), None
    if people.cluster is None and people.entry is None:
        return _by_lifelines(people, together, inside)
    if people.cluster is None:
        variance = _hypergeometric(together, each)
    else:
        variance = _by_patient(people, together, each)
    return chi_squared(scores[inside], variance[np.ix_(inside, inside)])


def _by_lifelines(
    people: Followed, together: Counts, inside: Mask,
) -> tuple[float | None, int, float | None]:
    """The test of lifelines, for independent rows all watched from their start.

    None where everybody still at risk at the first event had it: nothing then tells the groups
    apart (lifelines would give 0 and P 1).
    """
    from lifelines.statistics import multivariate_logrank_test

    df, first = int(inside.sum()) - 1, int(np.argmax(together.of(1) > 0))
    if together.of(1)[first] == together.at_risk[first]:
        return None, df, None
    rows = inside[people.group]
    found = multivariate_logrank_test(
        people.duration[rows], people.group[rows], people.event[rows] == 1)
    return float(found.test_statistic), df, float(found.p_value)


def _hypergeometric(together: Counts, each: list[Counts]) -> Floats:
    d, n = together.of(1), together.at_risk
    tied = np.where(n > 1, d * (n - d) / np.where(n > 1, n - 1, 1.0), 0.0)
    share = np.array([c.at_risk for c in each]) / n
    return np.diag(share @ tied) - (share * tied) @ share.T


def _by_patient(people: Followed, together: Counts, each: list[Counts]) -> Floats:
    """Sum over patients of the outer product of what each adds to observed − expected."""
    times = together.time
    hit = event_matrix(people, times, 1)
    risk = at_risk_matrix(people, times)
    martingale = hit - risk * (together.of(1) / together.at_risk)
    share = np.array([c.at_risk for c in each]) / together.at_risk
    own = people.group[:, None] == np.arange(len(each))[None, :]
    residual = martingale.sum(axis=1)[:, None] * own - martingale @ share.T
    total = by_cluster(residual, people.cluster)
    return total.T @ total


def _table(
    people: Followed, parts: list[Followed], observed: Floats,
    expected: Floats,
) -> pd.DataFrame:
    return pd.DataFrame({
        "group": list(people.groups), "n": [p.duration.size for p in parts],
        "observed": observed.astype(int), "expected": expected,
    })


def _why_none(observed: Floats) -> str:
    if observed.sum() == 0:
        return "no event in any group"
    return "the groups were never at risk together when an event happened"
