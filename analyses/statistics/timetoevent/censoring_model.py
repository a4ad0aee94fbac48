"""How likely each row is to be still followed: a Cox model of the censoring.

Our own few lines, because the model is fitted anew in every bootstrap replicate: a fit takes
under a millisecond here and tens of them in a library. The tests hold it to R's coxph.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.statistics.arrays import Floats, Mask, Whole

STEPS = 30
SMALL = 1e-10


@dataclass(frozen=True)
class CensoringModel:
    """Coefficients, and the share still followed just before each row's time and others.

    `order` is a row's place in time: an event comes before a censoring at the same time, so
    that 2·rank stands for the events and 2·rank + 1 for the censorings of a time.
    """

    coefficients: Floats
    _places: Floats
    _hazard: Floats

    def still_followed(self, places: Floats, covariates: Floats) -> Floats:
        """Probability of not being censored before each place (across) for each row (down)."""
        upto = np.concatenate([[0.0], np.cumsum(self._hazard)])
        baseline = upto[np.searchsorted(self._places, places, side="left")]
        if self.coefficients.size == 0:
            factors = np.concatenate([[1.0], np.cumprod(1 - self._hazard)])
            row = factors[np.searchsorted(self._places, places, side="left")]
            return np.broadcast_to(row, (covariates.shape[0], places.size))
        return np.exp(-np.outer(np.exp(covariates @ self.coefficients), baseline))


def censoring_model(
    places: Floats, censored: Mask, covariates: Floats,
) -> CensoringModel:
    """Fit by Newton's method on the partial likelihood, ties as Breslow 1974, Biometrics 30:89.

    places: order in time, one a row; covariates: rows by columns, none for Kaplan–Meier.
    Raises ValueError where the fit does not settle (a covariate that separates the censored
    from the others).
    """
    at = np.unique(places[censored])
    deaths = np.array([float(np.sum(censored & (places == p))) for p in at])
    if covariates.shape[1] == 0:
        risk = np.array([float(np.sum(places >= p)) for p in at])
        return CensoringModel(np.zeros(0), at, deaths / risk)
    beta = _newton(places, censored, covariates - covariates.mean(axis=0))
    score = np.exp(covariates @ beta)
    risk = np.array([float(score[places >= p].sum()) for p in at])
    return CensoringModel(beta, at, deaths / risk)


def _newton(places: Floats, censored: Mask, x: Floats) -> Floats:
    order = np.argsort(-places, kind="stable")
    x, places, censored = x[order], places[order], censored[order]
    # The risk set of a row is everybody up to the last row that shares its place.
    last = np.searchsorted(-places, -places[censored], side="right") - 1
    beta: Floats = np.zeros(x.shape[1])
    step, current = np.zeros_like(beta), -np.inf
    for _ in range(STEPS):
        value, gradient, information = _partial_likelihood(beta + step, x, censored, last)
        if value < current - SMALL:  # went too far: halve the step
            step = step / 2
            continue
        beta, settled, current = beta + step, abs(value - current) < SMALL, value
        # Least squares: a column that does not vary in this replicate, or repeats another,
        # has no bearing on who is lost and gets no coefficient of its own.
        step = np.linalg.lstsq(information, gradient, rcond=SMALL)[0]
        if settled and np.all(np.abs(step) < 1e-6 * (1 + np.abs(beta))):
            return beta + step
    raise ValueError(
        "The model of who is lost to follow-up does not settle: a covariate separates those "
        "lost from the others. Give fewer covariates."
    )


def _partial_likelihood(
    beta: Floats, x: Floats, censored: Mask, last: Whole,
) -> tuple[float, Floats, Floats]:
    """Log partial likelihood with its gradient and information."""
    linear = x @ beta
    weight = np.exp(linear - linear.max())
    total = np.cumsum(weight)[last]
    mean = np.cumsum(weight[:, None] * x, axis=0)[last] / total[:, None]
    second = np.cumsum(weight[:, None, None] * x[:, :, None] * x[:, None, :], axis=0)[last]
    value = float(linear[censored].sum() - (np.log(total) + linear.max()).sum())
    gradient = x[censored].sum(axis=0) - mean.sum(axis=0)
    information = (second / total[:, None, None]).sum(axis=0) - mean.T @ mean
    return value, gradient, information
