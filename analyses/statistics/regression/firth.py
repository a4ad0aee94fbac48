"""Firth's penalised logistic regression for one row a patient.

Standard errors printed here are the square roots of the diagonal of the inverse information
X'WX at the penalised estimates, as R brglm2 gives them. (The firthmodels package, which agrees
on the estimates, prints smaller ones, from the information of the augmented data.)
Intervals and tests do not rest on them: they come from the penalised profile likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit
from scipy.stats import chi2

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.penalised_core import Design, State, maximise
from analyses.statistics.regression.profile import likelihood_ratio, profile_bounds


@dataclass(frozen=True)
class PenalisedFit:
    """A penalised logistic fit: coefficients, covariance and what further steps need."""

    design: Design
    y: Floats
    weights: Floats
    state: State
    penalty: float

    @property
    def coefficients(self) -> Floats:
        """(terms,), log odds ratios a unit of each column."""
        found: Floats = self.state.beta[0] / self.design.scale
        return found

    @property
    def covariance(self) -> Floats:
        """(terms, terms), the inverse of X'WX at the estimates."""
        inverse = np.linalg.inv(self.state.information[0])
        return inverse / np.outer(self.design.scale, self.design.scale)

    @property
    def columns(self) -> Floats:
        """(rows, terms), the design matrix as given."""
        return self.design.x * self.design.scale

    @property
    def risk(self) -> Floats:
        """(rows,), fitted probabilities before the intercept is corrected."""
        found: Floats = expit(self.design.x @ self.state.beta[0])
        return found

    @property
    def converged(self) -> bool:
        return bool(self.state.converged[0])


def penalised_logistic(
    x: Floats, y: Floats, *, penalty: float = 0.5, weights: Floats | None = None
) -> PenalisedFit:
    """Fit a logistic model with the Firth penalty (penalty 0: maximum likelihood).

    x: (rows, terms) with its intercept column; y: (rows,) of 0 and 1; weights: (rows,) counts
    of each row, 1 where not given. Raises ValueError where both outcomes do not occur or a
    column is a combination of the others.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    events = float((weights * y).sum())
    if events == 0 or events == weights.sum():
        raise ValueError(
            f"the outcome is the same in all {len(y)} rows; a model needs both outcomes"
        )
    design = Design.of(x)
    if np.linalg.matrix_rank(design.x[weights > 0]) < design.terms:
        raise ValueError("a term is a combination of the others (or constant); leave one out")
    start = np.zeros((1, design.terms))
    state = maximise(design, y, weights=weights[None, :], start=start, penalty=penalty)
    return PenalisedFit(design, y, weights[None, :], state, penalty)


def profile_interval(
    fit: PenalisedFit, level: float = 0.95, *, inflation: Floats | float = 1.0,
    critical: Floats | None = None,
) -> tuple[Floats, Floats]:
    """Penalised-likelihood profile interval of every coefficient: two (terms,) arrays.

    level: coverage wanted; inflation: how much the clustering of rows in patients multiplies
    each coefficient's variance (1: none); critical: the drop of twice the log-likelihood before
    inflation, a chi-square quantile where not given.
    """
    base = np.full(fit.design.terms, chi2.ppf(level, 1)) if critical is None else critical
    low, high = profile_bounds(fit.design, fit.y, fit.weights, fit.state, base * inflation)
    return low / fit.design.scale, high / fit.design.scale


def profile_test(fit: PenalisedFit) -> tuple[Floats, Floats]:
    """Penalised likelihood-ratio statistic and P value of each coefficient being 0."""
    statistic = likelihood_ratio(fit.design, fit.y, fit.weights, fit.state)
    return statistic, chi2.sf(statistic, 1)
