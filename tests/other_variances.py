"""Variances, degrees of freedom and profile bounds that the package does not use.

The simulation of intervals (`tests/analyses/regression/simulation.py`) sets the methods in use
beside them.
"""

from __future__ import annotations

import numpy as np

from analyses.statistics.arrays import Floats, Labels
from analyses.statistics.regression.firth import PenalisedFit
from analyses.statistics.regression.profile import bounds_at
from analyses.statistics.regression.sandwich import (
    LEVERAGE_BOUND,
    ClusterParts,
    _loadings,
    cluster_codes,
    sum_by_cluster,
)


def profile_interval_of(fit: PenalisedFit, term: int, critical: Floats) -> tuple[Floats, Floats]:
    """Profile bounds of one coefficient at several critical values: two (values,) arrays."""
    root = np.sqrt(np.asarray(critical, float))
    bounds = bounds_at(fit.design, fit.y, fit.weights, fit.state, np.full(2 * len(root), term),
                       np.concatenate([-root, root])) / fit.design.scale[term]
    return bounds[: len(root)], bounds[len(root) :]


def fay_graubard_scores(parts: ClusterParts, bound: float = LEVERAGE_BOUND) -> Floats:
    """Scores divided by (1 - min(bound, diagonal of M_c A^-1))^1/2, term by term."""
    diagonal = np.einsum("cij,ji->ci", parts.shares, np.linalg.inv(parts.bread))
    found: Floats = parts.scores / np.sqrt(1 - np.minimum(bound, diagonal))
    return found


def empirical_df(parts: ClusterParts, scores: Floats) -> Floats:
    """Degrees of freedom from how much the patients' own contributions vary, (terms,).

    After Pan and Wall 2002, term by term: the variance is a sum of the patients' squared
    contributions q_c; 2 (sum q)^2 / Var(sum q), Var estimated from the spread of the q_c.
    """
    contributions = (np.linalg.solve(parts.bread, scores.T) ** 2).T
    total = contributions.sum(axis=0)
    spread = contributions.var(axis=0, ddof=1) * len(contributions)
    found: Floats = 2 * total**2 / spread
    return found


def binary_df(x: Floats, risk: Floats, cluster: Labels, parts: ClusterParts) -> Floats:
    """Satterthwaite degrees of freedom with the kurtosis of rare binary outcomes, (terms,).

    As `satterthwaite_df`, but the variance of the squared residuals of a Bernoulli outcome of
    risk p is p(1-p)(1-2p)^2, not the normal 2p^2(1-p)^2: with a rare event the fourth cumulant
    p(1-p)(1 - 6p(1-p)) dominates and the number of events, not of patients, limits the degrees
    of freedom.
    """
    codes, _ = cluster_codes(cluster)
    loading = _loadings(parts, 1.0)
    weight = risk * (1 - risk)
    row = (x[:, None, :] @ loading[codes])[:, 0, :]
    fourth = (row**4 * (weight * (1 - 6 * weight))[:, None]).sum(axis=0)
    own = (loading * (parts.shares @ loading)).sum(axis=1)
    found: Floats = 2 * own.sum(axis=0) ** 2 / (2 * (own**2).sum(axis=0) + np.maximum(fourth, 0.0))
    return found


def exchangeable_correlation(
    residual: Floats, weight: Floats, cluster: Labels, terms: int,
) -> float:
    """Moment estimate of the correlation between outcomes of one patient, at least 0.

    Mean product of Pearson residuals over pairs of rows of one patient (Liang and Zeger 1986),
    divided by their mean square.
    """
    codes, clusters = cluster_codes(cluster)
    pearson = residual / np.sqrt(weight)
    sums = np.bincount(codes, weights=pearson, minlength=clusters)
    squares = np.bincount(codes, weights=pearson**2, minlength=clusters)
    sizes = np.bincount(codes, minlength=clusters)
    pairs = (sizes * (sizes - 1) / 2).sum()
    if pairs == 0:
        return 0.0
    scale = squares.sum() / max(1, len(pearson) - terms)
    between = ((sums**2 - squares) / 2).sum() / max(1.0, pairs - terms)
    return float(np.clip(between / scale, 0.0, 1.0))


def exchangeable_variance(x: Floats, weight: Floats, cluster: Labels, correlation: float) -> Floats:
    """Variance of the independence estimator if outcomes correlate equally within patients."""
    codes, clusters = cluster_codes(cluster)
    rows = x * np.sqrt(weight)[:, None]
    bread = rows.T @ rows
    sums = sum_by_cluster(rows, codes, clusters)
    middle = (1 - correlation) * bread + correlation * sums.T @ sums
    inverse = np.linalg.inv(bread)
    return inverse @ middle @ inverse
