"""Ordinary logistic regression and ordinary GEE, for comparison with the penalised ones.

Where the data are separated an estimate does not exist; it is then given as infinite, with no
interval, and the reader is told so.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.firth import penalised_logistic
from analyses.statistics.regression.fitted import Fitted, infinite_terms, wald
from analyses.statistics.regression.lone_patient import rests_on_one, withheld
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.sandwich import cluster_parts, sandwich

SEPARATED = (
    "The data are separated: {terms} cannot be estimated without a penalty (the estimate is "
    "infinite). Use the penalised model."
)


def logistic(rows: ModelRows, level: float) -> Fitted:
    """Maximum likelihood with Wald intervals; rows are taken as independent."""
    return _unpenalised(rows, level, robust=None, method="maximum likelihood, Wald interval")


def gee(rows: ModelRows, level: float) -> Fitted:
    """GEE with independence and the Liang–Zeger variance (Liang and Zeger 1986)."""

    def robust(x: Floats, risk: Floats) -> Floats:
        parts = cluster_parts(x, risk * (1 - risk), rows.y - risk, rows.cluster)
        return sandwich(parts, parts.scores)

    fitted = _unpenalised(rows, level, robust, "GEE, independence, Liang–Zeger variance")
    if fitted.penalised is None:  # separated: there is no number as it is
        return fitted
    risk = fitted.penalised.risk
    parts = cluster_parts(rows.x, risk * (1 - risk), rows.y - risk, rows.cluster)
    return withheld(fitted, rows, rests_on_one(parts))


def _unpenalised(
    rows: ModelRows, level: float, robust: Callable[[Floats, Floats], Floats] | None, method: str,
) -> Fitted:
    names = rows.columns.names
    infinite = infinite_terms(rows.x, rows.y, names)
    if infinite:
        return _separated(rows, infinite, method)
    fit = penalised_logistic(rows.x, rows.y, penalty=0.0)
    covariance = fit.covariance if robust is None else robust(rows.x, fit.risk)
    se, low, high, p, df = wald(fit.coefficients, covariance, level)
    warnings = () if fit.converged else ("The fit did not converge; do not use its numbers.",)
    return Fitted(names, fit.coefficients, se, low, high, p, covariance, df,
                  "log odds ratio", method, warnings, fit)


def _separated(rows: ModelRows, infinite: dict[str, int], method: str) -> Fitted:
    names = rows.columns.names
    none = np.full(len(names), np.nan)
    estimate = np.array([infinite.get(name, np.nan) * np.inf for name in names])
    covariance = np.full((len(names), len(names)), np.nan)
    warning = SEPARATED.format(terms=", ".join(infinite))
    return Fitted(names, estimate, none, none, none, none, covariance,
                  np.full(len(names), np.inf), "log odds ratio", method, (warning,))
