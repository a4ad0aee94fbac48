"""Penalised and ordinary GEE of a yes/no outcome with an exchangeable working correlation.

Not part of the package: kept for the comparison with the default (analyses/regression/
exchangeable.py of the tests), which works with independence.

The Firth-type penalised GEE of Mondol and Rahman 2019 (Stat Med 38:2544) adds to the estimating
equations half the gradient of log det of the information sum of D'V^-1 D, the correlation and the
scale held at their moment estimates. The paper could be read in its abstract only; the equation
is that of the first author's own program (R, public repository geefirthr), read line by line, and
agrees with the description in Geroldinger and others 2022 (BMC Med Res Methodol 22:168, read in
part: the equations treated as score equations and modified as Firth's). In that program the
correlation is the mean over patients of the mean product of two Pearson residuals, not divided
by the scale (`by_patient`; a patient with one row, where that mean does not exist, is left out
here). `pooled` is the usual estimate over all pairs, divided by the scale, as R geepack has it.
The penalty does not change with the scale while the rest does, so that the scale sets its weight;
with correlation 0 and scale 1 it is Firth's fit. No proof says that the answer stays finite; in
the synthetic sets without one the moments had gone beyond their bounds (correlation above 1).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root
from scipy.special import expit

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.firth import penalised_logistic
from analyses.statistics.regression.sandwich import ClusterParts, cluster_codes, sum_by_cluster

LARGEST_PREDICTOR = 25.0  # beyond it the answer runs to infinity
DAMPING = (1.0, 0.5, 0.2)
STEPS = 150


class Moments(NamedTuple):
    """Working correlation of two rows of one patient, and the scale of the variance."""

    correlation: float
    scale: float


Estimator = Callable[[Floats, Floats, Floats], Moments]
"""Pearson residuals (rows,), patient codes (rows,), rows of each patient (patients,) → moments."""


def pooled(pearson: Floats, codes: NDArray[np.intp], sizes: Floats) -> Moments:
    """Mean product over all pairs of rows of one patient, divided by the mean square."""
    products = (np.bincount(codes, pearson) ** 2 - np.bincount(codes, pearson**2)) / 2
    scale = float(np.mean(pearson**2))
    pairs = (sizes * (sizes - 1) / 2).sum()
    return Moments(float(products.sum() / pairs / scale) if pairs else 0.0, scale)


def by_patient(pearson: Floats, codes: NDArray[np.intp], sizes: Floats) -> Moments:
    """As Mondol and Rahman's program: each patient's mean counts once, whatever its rows."""
    squares = np.bincount(codes, pearson**2)
    several = sizes > 1
    products = (np.bincount(codes, pearson) ** 2 - squares)[several]
    each = products / (sizes * (sizes - 1))[several]
    return Moments(float(each.mean()) if several.any() else 0.0, float(np.mean(squares / sizes)))


def fixed(correlation: float, scale: float = 1.0) -> Estimator:
    """No estimate: a correlation and scale given beforehand."""
    return lambda pearson, codes, sizes: Moments(correlation, scale)


@dataclass(frozen=True)
class Rows:
    """Design (rows, terms), outcomes, patient codes 0, 1, … and the rows of each patient."""

    x: Floats
    y: Floats
    codes: NDArray[np.intp]
    sizes: Floats

    @classmethod
    def of(cls, x: Floats, y: Floats, patient: Floats) -> Rows:
        codes, patients = cluster_codes(patient)
        return cls(x, y, codes, np.bincount(codes, minlength=patients).astype(float))

    @property
    def lowest(self) -> float:
        """The correlation at which the working matrix of the largest patient is singular."""
        return -1.0 / max(1.0, self.sizes.max() - 1)


@dataclass(frozen=True)
class ExchangeableFit:
    """coefficients (terms,); moments; parts: sums over patients for the variance; finite: whether
    there is an answer (converged, the correlation within its bounds); attainable: whether two
    outcomes with the fitted risks could have that correlation."""

    coefficients: Floats
    moments: Moments
    parts: ClusterParts
    finite: bool
    attainable: bool


class _At(NamedTuple):
    """The estimating equations at some coefficients."""

    moments: Moments
    information: Floats
    score: Floats


def _weights(rows: Rows, beta: Floats, estimator: Estimator):
    eta = np.clip(rows.x @ beta, -30, 30)
    risk = expit(eta)
    deviation = np.sqrt(risk * (1 - risk))
    pearson = (rows.y - risk) / deviation
    moments = estimator(pearson, rows.codes, rows.sizes)
    inside = float(np.clip(moments.correlation, 0.95 * rows.lowest, 0.95))
    shrink = inside / (1 + (rows.sizes - 1) * inside)
    factor = 1 / ((1 - inside) * moments.scale)
    return risk, deviation, pearson, moments, shrink, factor


def _equations(rows: Rows, beta: Floats, estimator: Estimator, penalised: bool) -> _At:
    """The inverse of the working correlation of n rows is (I − shrink J) / (1 − correlation)."""
    risk, deviation, pearson, moments, shrink, factor = _weights(rows, beta, estimator)
    turned = rows.x * deviation[:, None]
    sums = sum_by_cluster(turned, rows.codes, len(rows.sizes))
    information = factor * (turned.T @ turned - (sums.T * shrink) @ sums)
    score = factor * (turned.T @ pearson - sums.T @ (shrink * np.bincount(rows.codes, pearson)))
    if penalised:
        inverse = factor * np.linalg.inv(information)
        own, shared = turned @ inverse, (sums * shrink[:, None]) @ inverse
        leverage = ((own - shared[rows.codes]) * turned).sum(axis=1)
        score = score + rows.x.T @ ((0.5 - risk) * leverage)
    return _At(moments, information, score)


def _step(rows: Rows, beta: Floats, estimator: Estimator, penalised: bool) -> tuple[Floats, float]:
    at = _equations(rows, beta, estimator, penalised)
    step = np.linalg.solve(at.information, at.score)
    return step, float(np.sqrt(np.abs(step @ at.score)))


def _solve(rows: Rows, start: Floats, estimator: Estimator, penalised: bool) -> tuple[Floats, bool]:
    """Fisher scoring, damped where it circles; last, a general solver."""
    try:
        for damping in DAMPING:
            beta = start.copy()
            for _ in range(STEPS):
                step, distance = _step(rows, beta, estimator, penalised)
                if distance < 1e-9:
                    return beta, True
                beta = beta + damping * step * min(1.0, 2 / np.abs(step).max())
                if not penalised and np.abs(rows.x @ beta).max() > LARGEST_PREDICTOR:
                    return beta, False
        found = root(lambda b: _step(rows, b, estimator, penalised)[0], start, tol=1e-10)
        return found.x, bool(found.success)
    except np.linalg.LinAlgError:
        return start, False


def exchangeable_gee(
    x: Floats, y: Floats, patient: Floats, *, moments: Estimator = pooled, penalised: bool = True,
    start: Floats | None = None,
) -> ExchangeableFit:
    """GEE of a yes/no outcome with an exchangeable working correlation.

    x: (rows, terms) with its intercept; y: (rows,) of 0 and 1; patient: (rows,) names; moments:
    how correlation and scale are estimated; penalised: whether with the Firth-type penalty;
    start: (terms,) coefficients to begin from, those of Firth's fit where not given.
    """
    rows = Rows.of(np.asarray(x, float), np.asarray(y, float), patient)
    if start is None:
        start = penalised_logistic(rows.x, rows.y).coefficients
    beta, converged = _solve(rows, start, moments, penalised)
    eta = rows.x @ beta
    parts, found = _parts(rows, beta, moments)
    inside = rows.lowest < found.correlation < 1
    finite = converged and inside and bool(np.abs(eta).max() <= LARGEST_PREDICTOR)
    return ExchangeableFit(beta, found, parts, finite, _attainable(eta, rows, found.correlation))


def _parts(rows: Rows, beta: Floats, estimator: Estimator) -> tuple[ClusterParts, Moments]:
    """Each patient's D'V^-1 D and D'V^-1 (y − risk)."""
    _, deviation, pearson, moments, shrink, factor = _weights(rows, beta, estimator)
    turned, count = rows.x * deviation[:, None], len(rows.sizes)
    sums = sum_by_cluster(turned, rows.codes, count)
    shares = sum_by_cluster(turned[:, :, None] * turned[:, None, :], rows.codes, count)
    shares = factor * (shares - shrink[:, None, None] * sums[:, :, None] * sums[:, None, :])
    scores = sum_by_cluster(turned * pearson[:, None], rows.codes, count)
    scores = factor * (scores - (shrink * np.bincount(rows.codes, pearson))[:, None] * sums)
    return ClusterParts(shares.sum(axis=0), shares, scores), moments


def _attainable(eta: Floats, rows: Rows, correlation: float) -> bool:
    """Bounds on the correlation of two yes/no outcomes (Prentice 1988, Biometrics 44:1033)."""
    order = np.lexsort((eta, rows.codes))
    ordered, last = eta[order], np.cumsum(rows.sizes).astype(int) - 1
    first = last - rows.sizes.astype(int) + 1
    several = rows.sizes > 1
    first, last = first[several], last[several]
    if not len(first):
        return True
    upper = np.exp((ordered[first] - ordered[last]).min() / 2)
    sums = np.concatenate([ordered[first] + ordered[first + 1], ordered[last] + ordered[last - 1]])
    return bool(-np.exp(-np.abs(sums).max() / 2) <= correlation <= upper)
