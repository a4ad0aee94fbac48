"""Comparing treated with untreated rows, made alike by propensity weighting.

Who was treated was not left to chance (confounding by indication). Overlap weights (Li,
Morgan and Zaslavsky 2018, J Am Stat Assoc 113:390) make the two groups alike in the listed
covariates, most of all for patients who might have had either; average-treatment weights
(Robins, Hernán and Brumback 2000) are offered beside them. The propensity is Firth's fit; its
estimation is carried into the interval by bootstrapping patients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit
from scipy.stats import t as student

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.regression.model_checks import FEWEST_EVENTS
from analyses.statistics.regression.model_rows import ModelRows, model_rows
from analyses.statistics.regression.refits import patient_draws, weighted_refits
from analyses.statistics.regression.terms import numbers

SCHEMES = ("overlap", "average treatment")
INDICATION = (
    "Who was treated was not left to chance (confounding by indication); "
    "weighting balances what was recorded and nothing else."
)


@dataclass(frozen=True)
class WeightedComparison:
    """A weighted comparison, with balance before and after.

    difference: the estimate, treated minus (or over) untreated; balance: index `covariate`,
    standardised mean differences before and after; effective_n: worth of each weighted group in
    rows; warnings: sentences.
    """

    difference: Estimate
    balance: pd.DataFrame
    effective_n: tuple[float, float]
    warnings: tuple[str, ...]


def propensity_weights(risk: Floats, treated: Floats, scheme: str) -> Floats:
    """Weights of rows whose chance of treatment is `risk`; scheme one of SCHEMES."""
    if scheme == "overlap":
        return np.where(treated == 1, 1 - risk, risk)
    if scheme == "average treatment":
        return np.where(treated == 1, 1 / risk, 1 / (1 - risk))
    raise ValueError(f"weights {scheme!r}: wanted one of {', '.join(SCHEMES)}")


def standardised_differences(x: Floats, treated: Floats, weights: Floats) -> Floats:
    """Difference of weighted means over the pooled unweighted standard deviation, a column each.

    Austin 2009, Stat Med 28:3083; beyond 0.1 is usually called unbalanced.
    """
    one, none = treated == 1, treated == 0
    gap = np.average(x[one], axis=0, weights=weights[one]) - np.average(
        x[none], axis=0, weights=weights[none])
    spread = np.sqrt((x[one].var(axis=0, ddof=1) + x[none].var(axis=0, ddof=1)) / 2)
    found: Floats = np.divide(gap, spread, out=np.zeros_like(gap), where=spread > 0)
    return found


def compare_weighted(
    data: pd.DataFrame, outcome: str, treatment: str, covariates: Sequence[str], *,
    cluster: str | None = None, scheme: str = "overlap", level: float = 0.95, times: int = 1000,
    seed: int = 20260101, unit: str = "row", indication: str = INDICATION,
) -> WeightedComparison:
    """Weighted risk difference of a yes/no outcome, treated minus untreated.

    data: one row a unit; treatment: a yes/no column; covariates: columns of the propensity
    model; cluster: the patient; times: bootstrap samples; indication: the first warning, in the
    words of the question. Rows with a gap are left out. Raises
    ValueError where a group has under 5 rows, the outcome is not yes/no, or its events (or
    non-events) are too few for a bootstrap: under 8, or none in one group.
    """
    setting = _Setting(data, outcome, treatment, covariates, cluster, scheme)
    if not np.isin(setting.value, (0, 1)).all():
        raise ValueError(f"{outcome} must be yes/no; use compare_weighted_level for amounts")
    _check_events(setting.value, setting.treated)
    gap, low, high = setting.interval(level, times, seed)
    return setting.comparison(indication, replaced(
        setting.named, kind="difference", value=gap, low=max(low, -1.0), high=min(high, 1.0),
        level=level, unit=unit, events=int(setting.value.sum())))


def compare_weighted_level(
    data: pd.DataFrame, outcome: str, treatment: str, covariates: Sequence[str], *,
    cluster: str | None = None, scheme: str = "overlap", level: float = 0.95, times: int = 1000,
    seed: int = 20260101, unit: str = "row", indication: str = INDICATION,
) -> WeightedComparison:
    """Weighted ratio of geometric means of an amount above 0, treated over untreated.

    Arguments as in `compare_weighted`. Raises ValueError also where a value is not above 0.
    """
    setting = _Setting(data, outcome, treatment, covariates, cluster, scheme)
    if not (setting.value > 0).all():
        raise ValueError(f"{outcome}: {int((setting.value <= 0).sum())} rows are not above 0")
    setting.value = np.log(setting.value)
    gap, low, high = setting.interval(level, times, seed)
    return setting.comparison(indication, replaced(
        setting.named, kind="ratio of geometric means", value=float(np.exp(gap)),
        low=float(np.exp(low)), high=float(np.exp(high)), level=level, unit=unit))


class _Setting:
    """The complete rows of one comparison and what is worked out from them."""

    def __init__(self, data: pd.DataFrame, outcome: str, treatment: str,
                 covariates: Sequence[str], cluster: str | None, scheme: str) -> None:
        if outcome not in data.columns:
            raise ValueError(f"outcome {outcome!r} is not a column")
        self.rows = model_rows(data[data[outcome].notna()], treatment, covariates, cluster)
        self.treated, self.scheme = self.rows.y, scheme
        self.value = numbers(self.rows.frame[outcome])
        _check(self.rows)
        self.named = Estimate(
            id=f"weighted.{outcome}.{treatment}", kind="", value=None, n=self.rows.n,
            clusters=self.rows.clusters,
            method=f"propensity {scheme} weights, bootstrap of patients, t")

    def gaps(self, counts: Floats) -> tuple[Floats, Floats]:
        """(draws,) weighted differences and (draws, rows) weights; NaN where a group is empty."""
        fits = weighted_refits(self.rows.x, self.treated, counts, np.zeros(self.rows.x.shape[1]))
        risk = np.clip(expit(fits.coefficients @ self.rows.x.T), 1e-6, 1 - 1e-6)
        weights = counts * propensity_weights(risk, self.treated, self.scheme)
        with np.errstate(invalid="ignore", divide="ignore"):
            means = [(weights * (self.treated == arm)) @ self.value
                     / (weights * (self.treated == arm)).sum(axis=1) for arm in (1, 0)]
        return np.where(fits.usable, means[0] - means[1], np.nan), weights

    def interval(self, level: float, times: int, seed: int) -> tuple[float, float, float]:
        """The weighted difference, and its interval from the spread over samples of patients.

        Percentiles of the samples are too narrow where one group is small (91.5 % covered with
        10 of 80 rows in it). The spread is widened by sqrt(m / (m − 1)) and taken with t, m − 1
        degrees of freedom, m being what the smaller weighted group is worth in rows: 93.5 to
        97 % in eight settings of 40 to 160 rows, 400 sets each (tests/analyses/regression/
        test_propensity_coverage.py).
        """
        gap, self.weights = self.gaps(np.ones((1, self.rows.n)))
        drawn, _ = self.gaps(patient_draws(self.rows.cluster, times, seed))
        worth = max(2.0, min(self.worth))
        far = float(student.ppf((1 + level) / 2, worth - 1)) * float(
            np.nanstd(drawn, ddof=1)) * np.sqrt(worth / (worth - 1))
        return float(gap[0]), float(gap[0] - far), float(gap[0] + far)

    @property
    def worth(self) -> tuple[float, float]:
        """What each weighted group is worth in rows, treated first (Kish's effective number)."""
        with_it, without = (self.weights[0][self.treated == arm] for arm in (1, 0))
        return (float(with_it.sum() ** 2 / (with_it**2).sum()),
                float(without.sum() ** 2 / (without**2).sum()))

    def comparison(self, indication: str, difference: Estimate) -> WeightedComparison:
        """The estimate with its balance and warnings."""
        weights = self.weights[0]
        balance = _balance(self.rows, self.treated, weights)
        return WeightedComparison(difference, balance, self.worth,
                                  (indication, *_warnings(balance, self.worth)))


def _check(rows: ModelRows) -> None:
    if not np.isin(rows.y, (0, 1)).all():
        raise ValueError(f"{rows.outcome} must be yes/no")
    fewest = int(min(rows.y.sum(), (1 - rows.y).sum()))
    if fewest < 5:
        raise ValueError(f"only {fewest} rows in one group; there is no comparison to weight")


def _check_events(value: Floats, treated: Floats) -> None:
    """A group without events would have none in every sample, and a falsely narrow interval."""
    for found, word in ((value == 1, "events"), (value == 0, "rows without the event")):
        if found.sum() < FEWEST_EVENTS or not found[treated == 1].any() or not found[
                treated == 0].any():
            raise ValueError(
                f"only {int(found[treated == 1].sum())} and {int(found[treated == 0].sum())} "
                f"{word} in the two groups (at least {FEWEST_EVENTS} in all, and some in each, "
                "are needed)")


def _balance(rows: ModelRows, treated: Floats, weights: Floats) -> pd.DataFrame:
    inner = rows.x[:, 1:]
    return pd.DataFrame({
        "before": standardised_differences(inner, treated, np.ones(rows.n)),
        "after": standardised_differences(inner, treated, weights),
    }, index=pd.Index(rows.columns.names[1:], name="covariate"))


def _warnings(balance: pd.DataFrame, worth: tuple[float, float]) -> tuple[str, ...]:
    found = []
    off = balance.index[balance["after"].abs() > 0.1]
    if len(off):
        found.append(f"Still unbalanced after weighting (over 0.1): {', '.join(off)}.")
    if min(worth) < 20:
        found.append(f"After weighting one group is worth only {min(worth):.0f} rows; the "
                     "comparison says little.")
    return tuple(found)
