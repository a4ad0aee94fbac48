"""Firth's logistic regression behind `fit`: one row a patient, profile intervals and tests."""

from __future__ import annotations

import numpy as np

from analyses.statistics.regression.firth import (
    penalised_logistic,
    profile_interval,
    profile_test,
)
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows

METHOD = ("Firth's penalised likelihood, profile interval and penalised likelihood-ratio test; "
          "standard error from the inverse information")


def firth(rows: ModelRows, level: float) -> Fitted:
    """Log odds ratios (Firth 1993; Heinze and Schemper 2002); rows are taken as independent."""
    fit = penalised_logistic(rows.x, rows.y)
    low, high = profile_interval(fit, level)
    _, p = profile_test(fit)
    warnings = () if fit.converged else ("The fit did not converge; do not use its numbers.",)
    return Fitted(rows.columns.names, fit.coefficients, np.sqrt(np.diag(fit.covariance)), low,
                  high, p, fit.covariance, np.full(len(p), np.inf), "log odds ratio", METHOD,
                  warnings, True)
