"""Rubin's rules: one answer from several completed data sets.

Rubin 1987, Multiple Imputation for Nonresponse in Surveys; degrees of freedom that respect the
size of the data, Barnard and Rubin 1999, Biometrika 86:948.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from analyses.statistics.arrays import Floats


@dataclass(frozen=True)
class Pooled:
    """Pooled estimates, a place each: estimate, se, df, and the share of information missing."""

    estimate: Floats
    se: Floats
    df: Floats
    missing_information: Floats

    def interval(self, level: float = 0.95) -> tuple[Floats, Floats]:
        """Wald interval by t with the pooled degrees of freedom."""
        far = student.ppf((1 + level) / 2, self.df) * self.se
        return self.estimate - far, self.estimate + far

    @property
    def p(self) -> Floats:
        """Two-sided P of each estimate being 0."""
        found: Floats = 2 * student.sf(np.abs(self.estimate) / self.se, self.df)
        return found


def pool(estimates: Floats, variances: Floats, complete_df: float | Floats) -> Pooled:
    """Pool m estimates of k coefficients.

    estimates, variances: (m, k); complete_df: degrees of freedom had nothing been missing,
    patients − coefficients here. A coefficient without a variance in one set has no pooled answer
    (all NaN). Raises ValueError where m is under 2.
    """
    estimates, variances = np.asarray(estimates, float), np.asarray(variances, float)
    m = len(estimates)
    if m < 2:
        raise ValueError(f"{m} completed data set given; pooling needs at least 2")
    estimates = np.where(np.isnan(variances).any(axis=0), np.nan, estimates)
    within = variances.mean(axis=0)
    between = estimates.var(axis=0, ddof=1)
    total = within + (1 + 1 / m) * between
    share = (1 + 1 / m) * between / total
    with np.errstate(divide="ignore"):
        old = (m - 1) / np.maximum(share, 1e-300) ** 2
    seen = (complete_df + 1) / (complete_df + 3) * complete_df * (1 - share)
    df = 1 / (1 / old + 1 / seen)
    increase = (1 + 1 / m) * between / within
    information = (increase + 2 / (df + 3)) / (increase + 1)
    return Pooled(estimates.mean(axis=0), np.sqrt(total), df, information)
