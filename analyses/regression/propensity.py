"""Comparing resections after embolization with resections without: propensity weighting.

Who was embolized was not left to chance (confounding by indication). Overlap weights (Li,
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

from analyses.estimate import Estimate
from analyses.regression.penalised_core import Array
from analyses.regression.refits import patient_draws, weighted_refits
from analyses.regression.rows import ModelRows, model_rows

SCHEMES = ("overlap", "average treatment")
INDICATION = (
    "Who was embolized followed the lesion and the surgeon's judgement (confounding by "
    "indication); weighting balances what was recorded and nothing else."
)


@dataclass(frozen=True)
class WeightedComparison:
    """A weighted difference in risk (or in log mean), with balance before and after.

    difference: the estimate, treated minus untreated; balance: index `covariate`, standardised
    mean differences before and after; effective_n: worth of each weighted group in rows;
    warnings: sentences.
    """

    difference: Estimate
    balance: pd.DataFrame
    effective_n: tuple[float, float]
    warnings: tuple[str, ...]


def propensity_weights(risk: Array, treated: Array, scheme: str) -> Array:
    """Weights of rows whose chance of treatment is `risk`; scheme one of SCHEMES."""
    if scheme == "overlap":
        return np.where(treated == 1, 1 - risk, risk)
    if scheme == "average treatment":
        return np.where(treated == 1, 1 / risk, 1 / (1 - risk))
    raise ValueError(f"weights {scheme!r}: wanted one of {', '.join(SCHEMES)}")


def standardised_differences(x: Array, treated: Array, weights: Array) -> Array:
    """Difference of weighted means over the pooled unweighted standard deviation, a column each.

    Austin 2009, Stat Med 28:3083; beyond 0.1 is usually called unbalanced.
    """
    one, none = treated == 1, treated == 0
    gap = np.average(x[one], axis=0, weights=weights[one]) - np.average(
        x[none], axis=0, weights=weights[none])
    spread = np.sqrt((x[one].var(axis=0, ddof=1) + x[none].var(axis=0, ddof=1)) / 2)
    return np.divide(gap, spread, out=np.zeros_like(gap), where=spread > 0)


def compare_weighted(
    data: pd.DataFrame, outcome: str, treatment: str, covariates: Sequence[str], *,
    cluster: str | None = None, scheme: str = "overlap", level: float = 0.95, times: int = 1000,
    seed: int = 20260101, unit: str = "resection",
) -> WeightedComparison:
    """Weighted risk difference of a yes/no outcome, treated minus untreated.

    data: one row a unit; treatment: a yes/no column; covariates: columns of the propensity
    model; cluster: the patient. Raises ValueError where a group has under 5 rows, or the
    outcome is not yes/no.
    """
    rows = model_rows(data, treatment, covariates, cluster)
    treated = rows.y
    event = _outcome(rows, outcome)
    _check(rows, treated, event, outcome)
    ones = np.ones((1, rows.n))
    value, weights = _estimates(rows, treated, event, ones, scheme)
    drawn, _ = _estimates(rows, treated, event, patient_draws(rows.cluster, times, seed), scheme)
    drawn = drawn[np.isfinite(drawn)]
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2])
    value, weights = float(value[0]), weights[0]
    difference = Estimate(
        id=f"weighted.{outcome}.{treatment}", kind="difference", value=value,
        low=float(min(low, value)), high=float(max(high, value)), level=level, unit=unit,
        method=f"propensity {scheme} weights, bootstrap of patients", events=int(event.sum()),
        n=rows.n, clusters=rows.clusters)
    balance = _balance(rows, treated, weights)
    worth = tuple(float(weights[treated == arm].sum() ** 2 / (weights[treated == arm] ** 2).sum())
                  for arm in (1, 0))
    return WeightedComparison(difference, balance, worth, _warnings(balance, worth))


def _outcome(rows: ModelRows, outcome: str) -> Array:
    from analyses.regression.terms import numbers

    if outcome not in rows.frame.columns:
        raise ValueError(f"outcome {outcome!r} is not a column")
    return numbers(rows.frame[outcome])


def _check(rows: ModelRows, treated: Array, event: Array, outcome: str) -> None:
    if not np.isin(treated, (0, 1)).all() or not np.isin(event, (0, 1)).all():
        raise ValueError(f"{rows.outcome} and {outcome} must both be yes/no, with no gaps")
    fewest = int(min(treated.sum(), (1 - treated).sum()))
    if fewest < 5:
        raise ValueError(f"only {fewest} rows in one group; there is no comparison to weight")


def _estimates(
    rows: ModelRows, treated: Array, event: Array, counts: Array, scheme: str
) -> tuple[Array, Array]:
    """(draws,) weighted differences and (draws, rows) weights; NaN where a draw has one group."""
    fits = weighted_refits(rows.x, treated, counts, np.zeros(rows.x.shape[1]))
    risk = np.clip(expit(fits.coefficients @ rows.x.T), 1e-6, 1 - 1e-6)
    weights = counts * propensity_weights(risk, treated, scheme)
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = [(weights * (treated == arm)) @ event / (weights * (treated == arm)).sum(axis=1)
                  for arm in (1, 0)]
    return np.where(fits.usable, shares[0] - shares[1], np.nan), weights


def _balance(rows: ModelRows, treated: Array, weights: Array) -> pd.DataFrame:
    inner = rows.x[:, 1:]
    return pd.DataFrame({
        "before": standardised_differences(inner, treated, np.ones(rows.n)),
        "after": standardised_differences(inner, treated, weights),
    }, index=pd.Index(rows.columns.names[1:], name="covariate"))


def _warnings(balance: pd.DataFrame, worth: tuple[float, float]) -> tuple[str, ...]:
    found = [INDICATION]
    off = balance.index[balance["after"].abs() > 0.1]
    if len(off):
        found.append(f"Still unbalanced after weighting (over 0.1): {', '.join(off)}.")
    if min(worth) < 20:
        found.append(f"After weighting one group is worth only {min(worth):.0f} rows; the "
                     "comparison says little.")
    return tuple(found)
