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
