"""Variance of coefficients when rows of one patient are alike: sandwich estimators.

All follow from three sums: the information A = X'WX, each patient's share of it M_c, and each
patient's score s_c. Leverage corrections need only these, since
X_c'(I - H_c)^-1 r_c = (I - M_c A^-1)^-1 s_c, so that the work is done on (terms x terms)
matrices however many rows a patient has.

Liang and Zeger 1986, Biometrika 73:13; Mancl and DeRouen 2001, Biometrics 57:126; Kauermann and
Carroll 2001, J Am Stat Assoc 96:1387; Fay and Graubard 2001, Biometrics 57:1198; degrees of
freedom: Bell and McCaffrey 2002, Surv Methodol 28:169; Pan and Wall 2002, Stat Med 21:1429.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from analyses.statistics.arrays import Floats, Labels, Whole

# A patient who alone determines a term has leverage 1, and the correction would divide by
# zero. Fay and Graubard bound it at 0.75; so do we, wherever a leverage is divided by.
LEVERAGE_BOUND = 0.75


class Leverage(NamedTuple):
    """Eigenvalues and axes of L^-1 M_c L^-T for each patient, where A = L L'."""

    root: Floats  # L
    inverse: Floats  # L^-1
    values: Floats  # (patients, terms), each from 0 to 1
    axes: Floats  # (patients, terms, terms)


@dataclass(frozen=True)
class ClusterParts:
    """The sums over each patient's rows that every sandwich needs."""

    bread: Floats  # A, (terms, terms)
    shares: Floats  # M_c, (patients, terms, terms)
    scores: Floats  # s_c, (patients, terms)

    @property
    def clusters(self) -> int:
        return len(self.scores)

    @cached_property
    def leverage(self) -> Leverage:
        """The patients' leverages, worked out once for all corrections."""
        root = np.linalg.cholesky(self.bread)
        inverse = np.linalg.inv(root)
        values, axes = np.linalg.eigh(inverse @ self.shares @ inverse.T)
        return Leverage(root, inverse, values, axes)


def cluster_codes(cluster: Labels) -> tuple[Whole, int]:
    """Codes 0, 1, … of the patients of each row in order of appearance, and how many there are."""
    import pandas as pd

    codes, names = pd.factorize(np.asarray(cluster), sort=False)
    return codes, len(names)


def sum_by_cluster(values: Floats, codes: Whole, clusters: int) -> Floats:
    """Sums of `values` (rows, …) over each patient's rows: (patients, …)."""
    flat = values.reshape(len(values), -1)
    out = np.empty((clusters, flat.shape[1]))
    for column in range(flat.shape[1]):
        out[:, column] = np.bincount(codes, weights=flat[:, column], minlength=clusters)
    return out.reshape(clusters, *values.shape[1:])


def cluster_parts(x: Floats, weight: Floats, residual: Floats, cluster: Labels) -> ClusterParts:
    """Gather the sums.

    x: (rows, terms); weight: (rows,), working variance of each outcome (times d mu/d eta over
    itself for a canonical link, so X'WX is the information); residual: (rows,), observed minus
    expected; cluster: (rows,), patient of each row.
    """
    codes, clusters = cluster_codes(cluster)
    outer = weight[:, None, None] * x[:, :, None] * x[:, None, :]
    shares = sum_by_cluster(outer, codes, clusters)
    scores = sum_by_cluster(x * residual[:, None], codes, clusters)
    return ClusterParts(shares.sum(axis=0), shares, scores)


def adjusted_scores(parts: ClusterParts, power: float, bound: float = LEVERAGE_BOUND) -> Floats:
    """Scores corrected for leverage: (I - M_c A^-1)^-power s_c, (patients, terms).

    power 0: none (Liang and Zeger); 1/2: Kauermann and Carroll; 1: Mancl and DeRouen.
    """
    if power == 0:
        return parts.scores
    root, inverse, leverage, axes = parts.leverage
    factor = (1 - np.clip(leverage, 0.0, bound)) ** -power
    rotated = (axes.transpose(0, 2, 1) @ (parts.scores @ inverse.T)[:, :, None])[:, :, 0]
    return (axes @ (factor * rotated)[:, :, None])[:, :, 0] @ root.T


def fay_graubard_scores(parts: ClusterParts, bound: float = LEVERAGE_BOUND) -> Floats:
    """Scores divided by (1 - min(bound, diagonal of M_c A^-1))^1/2, term by term."""
    diagonal = np.einsum("cij,ji->ci", parts.shares, np.linalg.inv(parts.bread))
    found: Floats = parts.scores / np.sqrt(1 - np.minimum(bound, diagonal))
    return found


def sandwich(parts: ClusterParts, scores: Floats) -> Floats:
    """A^-1 (sum of s_c s_c') A^-1, (terms, terms)."""
    reach = np.linalg.solve(parts.bread, scores.T)
    return reach @ reach.T


def model_variance(parts: ClusterParts) -> Floats:
    """A^-1: the variance if rows were independent."""
    return np.linalg.inv(parts.bread)


def largest_share(parts: ClusterParts) -> Floats:
    """The most of the information on each coefficient that one patient holds: (terms,), 0 to 1.

    Information on a coefficient is 1 over its model-based variance. Without patient c that
    variance is the diagonal of (A - M_c)^-1, so the share c holds is 1 less the ratio of the two
    variances: 1/2 where two rows alone tell of a level, 1 where without c the coefficient could
    not be estimated at all. Follows from the leverages: with v = axes' L^-1 e_k the variances are
    sum v^2 and sum v^2 / (1 - leverage).
    """
    _, inverse, values, axes = parts.leverage
    squared = (axes.transpose(0, 2, 1) @ inverse) ** 2
    left = np.maximum(1 - values, 1e-12)[:, :, None]
    found: Floats = (1 - squared.sum(axis=1) / (squared / left).sum(axis=1)).max(axis=0)
    return found


def _loadings(parts: ClusterParts, power: float, bound: float = LEVERAGE_BOUND) -> Floats:
    """u_c = (I - A^-1 M_c)^-power A^-1 e_k for each term k: (patients, terms, terms k)."""
    _, inverse, leverage, axes = parts.leverage
    factor = (1 - np.clip(leverage, 0.0, bound)) ** -power
    return inverse.T @ (axes * factor[:, None, :]) @ axes.transpose(0, 2, 1) @ inverse


def satterthwaite_df(
    parts: ClusterParts, power: float = 1.0, bound: float = LEVERAGE_BOUND
) -> Floats:
    """Degrees of freedom of each coefficient's sandwich variance, (terms,).

    Bell and McCaffrey: the variance is a quadratic form in the residuals; matching its first
    two moments under working independence and normality gives 2 E^2 / Var. They are few where
    few patients carry the information on a term.
    """
    loading = _loadings(parts, power, bound)
    held = parts.shares @ loading
    own = (loading * held).sum(axis=1)
    shared = parts.leverage.inverse @ held
    length = (shared**2).sum(axis=1)
    cross = np.einsum("cpk,cqk->kpq", shared, shared)
    first = own.sum(axis=0) - length.sum(axis=0)
    second = (own**2).sum(axis=0) - 2 * (own * length).sum(axis=0) + (cross**2).sum(axis=(1, 2))
    # Where nothing varies there is nothing to match: one degree of freedom, the least there is.
    found: Floats = np.divide(first**2, second, out=np.ones_like(first), where=second > 0)
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
