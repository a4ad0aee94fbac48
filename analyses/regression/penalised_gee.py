"""The default for several rows a patient: Firth-type penalised GEE with independence.

The penalised estimating equations (Mondol and Rahman 2019, Stat Med 38:2544; Geroldinger and
others 2022, BMC Med Res Methodol 22:168) reduce, under an independent working correlation, to
Firth's equations, so that estimates are always finite. What the patient changes is the
uncertainty.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from analyses.regression.firth import PenalisedFit, penalised_logistic, profile_interval
from analyses.regression.fitted import Fitted
from analyses.regression.penalised_core import Array
from analyses.regression.profile import likelihood_ratio
from analyses.regression.rows import ModelRows
from analyses.regression.sandwich import (
    ClusterParts,
    adjusted_scores,
    cluster_parts,
    model_variance,
    sandwich,
)

METHOD = ("Firth-type penalised GEE, independence; penalised profile interval widened by the "
          "patient design effect (Mancl–DeRouen over model-based variance, at least 1), t with "
          "patients − coefficients degrees of freedom")


def clustered_parts(fit: PenalisedFit, cluster: np.ndarray) -> ClusterParts:
    """Sums over patients of a penalised fit."""
    return cluster_parts(fit.columns, fit.risk * (1 - fit.risk), fit.y - fit.risk, cluster)


def design_effect(parts: ClusterParts) -> Array:
    """How much clustering multiplies each coefficient's variance, at least 1: (terms,)."""
    robust = np.diag(sandwich(parts, adjusted_scores(parts, 1.0)))
    return np.maximum(1.0, robust / np.diag(model_variance(parts)))


def penalised_gee(rows: ModelRows, level: float) -> Fitted:
    """Log odds ratios, population-averaged, with intervals clustered on the patient."""
    fit = penalised_logistic(rows.x, rows.y)
    effect = design_effect(clustered_parts(fit, rows.cluster))
    df = max(1, rows.clusters - rows.x.shape[1])
    critical = np.full(len(effect), stats.t.ppf((1 + level) / 2, df) ** 2)
    low, high = profile_interval(fit, level, inflation=effect, critical=critical)
    drop = likelihood_ratio(fit.design, fit.y, fit.weights, fit.state) / effect
    covariance = fit.covariance * np.sqrt(np.outer(effect, effect))
    warnings = () if fit.converged else ("The fit did not converge; do not use its numbers.",)
    return Fitted(rows.columns.names, fit.coefficients, np.sqrt(np.diag(covariance)), low, high,
                  2 * stats.t.sf(np.sqrt(drop), df), covariance, np.full(len(effect), float(df)),
                  "log odds ratio", METHOD, warnings, fit)
