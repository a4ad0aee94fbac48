"""Does a proportion rise or fall over ordered groups (grades)? A test, always with its effect.

The effect is the change of the proportion a step of the score, in percentage points with an
interval, so that no P value stands alone. Independent units: Cochran–Armitage, its
Mantel–Haenszel form and its permutation version. Rows that repeat within patients: the
cluster-robust score test.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analyses.statistics.arguments import (
    check_level,
    codes,
    counts_of,
    event_values,
    finite,
    same_length,
)
from analyses.statistics.arrays import Floats, Labels, Whole
from analyses.statistics.estimate import Estimate, counted_rows, replaced
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions import permutation
from analyses.words.flags import ALL_EVENTS, NO_EVENTS, NO_INTERVAL, NOTHING_COUNTED
from analyses.words.wording_of_p import p_text

COCHRAN_ARMITAGE = "Cochran–Armitage"
ROBUST_SCORE = "score test, variance clustered on the patient"


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A trend over ordered groups.

    estimate: the change of the proportion for one step of the score (kind "difference",
    from -1 to 1).
    statistic, df, p: the score test named in `method`; None where it cannot be given.
    mantel_haenszel and its p: the same with N - 1 for N (None where clustered). permutation_p:
    from the permutation distribution, exact or by draws as `permutation_method` says.
    """

    estimate: Estimate
    method: str
    statistic: float | None
    df: int
    p: float | None
    mantel_haenszel: float | None = None
    mantel_haenszel_p: float | None = None
    permutation_p: float | None = None
    permutation_method: str = ""

    def as_text(self) -> str:
        """The effect with its interval, then the test."""
        effect = self.estimate.number_text()
        if self.estimate.value is not None:
            effect += " a step of the score"
        return "; ".join((effect, *self.estimate.notes(), self.test_text()))

    def test_text(self) -> str:
        """The test alone; only for use beside the effect."""
        if self.statistic is None or self.p is None:
            return f"{self.method}: no test can be given with these data"
        exact = "" if self.permutation_p is None else (
            f"; {self.permutation_method} {p_text(self.permutation_p)}"
        )
        return (
            f"{self.method} χ² {self.statistic:.2f}, {self.df} degree of freedom, "
            f"{p_text(self.p)}{exact}"
        )

    def change(self, subject: str | None = None) -> str:
        """An English sentence with effect, interval and counts, without the test."""
        told = self.estimate.number_text()
        step = " a step of the score" if self.estimate.value is not None else ""
        notes = "".join(f"; {note}" for note in self.estimate.notes())
        return self._said(subject, f"{told}{step}{notes}")

    def sentence(self, subject: str | None = None) -> str:
        """An English sentence with effect, interval, counts and test.

        It speaks of the proportion, since the event may be a wanted one.
        """
        return self._said(subject, self.as_text())

    def _said(self, subject: str | None, told: str) -> str:
        said = subject or self.estimate.id
        return (
            f"{said[:1].upper()}{said[1:]}: the proportion {_direction(self.estimate)} over the "
            f"ordered groups ({told}; {self.estimate.events} events among {self.estimate.n})."
        )


def trend_across_groups(
    events: Sequence[int], trials: Sequence[int], *, scores: Sequence[float] | None = None,
    level: float = 0.95, id: str = "trend", unit: str = "",
    group: Mapping[str, str] | None = None, draws: int = 100_000, seed: int = 1,
) -> Trend:
    """Trend of a proportion over ordered groups of independent units.

    events, trials: counts a group, in order; scores: one a group (0, 1, 2, … unless given).
    Statistic: Cochran–Armitage χ² on 1 df (Armitage 1955, Biometrics 11:375), with its
    Mantel–Haenszel form, (N - 1)/N of it, and the permutation distribution given all margins
    (exact where the scores lie on a grid, else `draws` seeded draws). The effect: least-squares
    slope of the risk over the score with a variance that does not assume equal risks (t on N - 2
    degrees of freedom).

    Raises ValueError for counts that cannot be, or columns of different length.
    """
    counts = [counts_of(x, n) for x, n in zip(events, trials, strict=False)]
    given = np.arange(len(counts), dtype=float) if scores is None else finite(scores, "score")
    same_length(events=list(events), trials=list(trials), scores=given)
    check_level(level)
    x, n = (np.array(column, dtype=float) for column in zip(*counts, strict=True)) if counts else (
        np.zeros(0), np.zeros(0))
    effect = _slope_of_groups(
        x, n, given, Estimate(id=id, kind="difference", value=None, level=level, unit=unit,
                              group=group))
    if effect.value is None or x.sum() in (0, n.sum()):
        return Trend(estimate=effect, method=COCHRAN_ARMITAGE, statistic=None, df=1, p=None)
    statistic = _cochran_armitage(x, n, given)
    mantel = float(statistic * (n.sum() - 1) / n.sum())
    permuted = permutation.trend_p(x, n, given, draws=draws, seed=seed)
    return Trend(
        estimate=effect, method=COCHRAN_ARMITAGE, statistic=statistic, df=1, p=_chi2_p(statistic),
        mantel_haenszel=mantel, mantel_haenszel_p=_chi2_p(mantel), permutation_p=permuted.p,
        permutation_method=permuted.method,
    )


def clustered_trend(
    event: ArrayLike, score: ArrayLike, cluster: Sequence[Any] | Labels, *,
    level: float = 0.95, id: str = "trend", unit: str = "", group: Mapping[str, str] | None = None,
    keys: Sequence[Any] | None = None,
) -> Trend:
    """Trend of a proportion over a score, rows repeating within patients.

    event: 0/1, one a row; score: a number a row; cluster: the patient. χ² = U²/ΣUc² on 1 df, with
    Uc a patient's sum of (score - mean score)(event - overall proportion): the generalised score
    test (Boos 1992, Am Stat 46:327) of a marginal model with independence as working
    correlation. The effect: the least-squares slope with its Taylor-linearised variance by
    patient, C/(C-1), t on C - 2 degrees of freedom, as svyglm of R survey. One row a patient:
    Cochran–Armitage without its permutation version.

    Raises ValueError for missing or wrong outcomes, scores or patients, or different lengths.
    """
    outcome, values = event_values(event), finite(score, "score")
    patient, patients = codes(cluster)
    same_length(event=outcome, score=values, cluster=patient)
    effect = _slope(outcome, values, patient, Estimate(
        id=id, kind="difference", value=None, level=check_level(level), unit=unit, group=group,
        counted=counted_rows(keys, outcome), clusters=len(patients),
    ))
    alone = len(patients) == len(outcome)
    method = COCHRAN_ARMITAGE if alone else ROBUST_SCORE
    statistic = None if effect.value is None else _score_test(outcome, values, patient, alone)
    return Trend(
        estimate=effect, method=method, statistic=statistic, df=1,
        p=None if statistic is None else _chi2_p(statistic),
    )


def _score_test(outcome: Floats, score: Floats, patient: Whole, alone: bool) -> float | None:
    share, away = outcome.mean(), score - score.mean()
    if share in (0, 1):
        return None
    parts = away * (outcome - share)
    below = (
        share * (1 - share) * (away**2).sum() if alone
        else (by_patient.totals(parts, patient) ** 2).sum()
    )
    return float(parts.sum() ** 2 / below) if below > 1e-20 else None


def _cochran_armitage(events: Floats, trials: Floats, scores: Floats) -> float:
    total, share = trials.sum(), events.sum() / trials.sum()
    away = scores - (trials * scores).sum() / total
    return float((away * events).sum() ** 2 / (share * (1 - share) * (trials * away**2).sum()))


def _slope_of_groups(
    events: Floats, trials: Floats, scores: Floats, named: Estimate,
) -> Estimate:
    """The slope from counts, each unit its own patient, without unfolding the counts."""
    total = trials.sum()
    away = scores - (trials * scores).sum() / total if total else scores
    spread = (trials * away**2).sum()
    counted = replaced(named, events=int(events.sum()), n=int(total))
    if total < 3 or spread <= 0 or events.sum() in (0, total):
        return _no_slope(counted)
    slope = float((away * events).sum() / spread)
    fitted = events.sum() / total + slope * away
    squares = events * (1 - fitted) ** 2 + (trials - events) * fitted**2
    variance = total / (total - 1) * float((away**2 * squares).sum()) / spread**2
    return _slope_estimate(counted, slope, variance, int(total))


def _slope(outcome: Floats, score: Floats, patient: Whole, named: Estimate) -> Estimate:
    """The slope from rows, its variance linearised by patient."""
    counted = replaced(named, events=int(outcome.sum()), n=len(outcome))
    patients = named.clusters or 0
    away = score - score.mean() if len(score) else score
    spread = (away**2).sum()
    if patients < 3 or spread <= 0 or outcome.sum() in (0, len(outcome)):
        return _no_slope(counted)
    slope = float((away * outcome).sum() / spread)
    influence = away * (outcome - outcome.mean() - slope * away) / spread
    by_each = by_patient.totals(influence, patient)
    variance = float(by_patient.cluster_variance(by_each, patients))
    return _slope_estimate(counted, slope, variance, patients)


def _slope_estimate(
    counted: Estimate, slope: float, variance: float, patients: int,
) -> Estimate:
    """Slope with t limits on patients - 2 degrees of freedom; none where nothing happened."""
    tail = 1 - (1 - counted.level) / 2
    half = float(special.stdtrit(patients - 2, tail)) * math.sqrt(variance)
    return replaced(counted, value=slope, low=slope - half, high=slope + half,
                    method="least-squares slope, robust")


def _no_slope(counted: Estimate) -> Estimate:
    flag = NO_INTERVAL if counted.n else NOTHING_COUNTED
    if counted.n and counted.events in (0, counted.n):
        flag = NO_EVENTS if counted.events == 0 else ALL_EVENTS
    return replaced(counted, flags=(flag,))


def _direction(slope: Estimate) -> str:
    """Rises or falls only where the interval says so."""
    if slope.value is None or slope.low is None or slope.high is None:
        return "cannot be compared"
    if slope.low > 0:
        return "rises"
    return "falls" if slope.high < 0 else "shows no clear trend"


def _chi2_p(statistic: float) -> float:
    return float(special.chdtrc(1, statistic))
