"""Ordinary logistic regression and ordinary GEE, for comparison with the penalised ones.

Both are fitted with statsmodels. Where the data are separated an estimate does not exist; it is
then given as infinite, with no interval, and the reader is told so.
"""

from __future__ import annotations

import warnings as python_warnings
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.special import expit

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.fitted import Fitted, infinite_terms, wald
from analyses.statistics.regression.lone_patient import rests_on_one, withheld
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.sandwich import cluster_parts

SEPARATED = (
    "The data are separated: {terms} cannot be estimated without a penalty (the estimate is "
    "infinite). Use the penalised model."
)


class _Found(NamedTuple):
    """(terms,) coefficients, (terms, terms) covariance, and whether the search settled."""

    coefficients: Floats
    covariance: Floats
    settled: bool


def logistic(rows: ModelRows, level: float) -> Fitted:
    """Maximum likelihood with Wald intervals; rows are taken as independent."""
    return _unpenalised(rows, level, _maximum_likelihood, "maximum likelihood, Wald interval")


def gee(rows: ModelRows, level: float) -> Fitted:
    """GEE with independence and the Liang–Zeger variance (Liang and Zeger 1986)."""
    fitted = _unpenalised(rows, level, _independence,
                          "GEE, independence, Liang–Zeger variance")
    if not fitted.gives_risks:  # separated: there is no number as it is
        return fitted
    risk = expit(rows.x @ fitted.coefficients)
    parts = cluster_parts(rows.x, risk * (1 - risk), rows.y - risk, rows.cluster)
    return withheld(fitted, rows, rests_on_one(parts))


def _unpenalised(
    rows: ModelRows, level: float, search: Callable[[ModelRows], _Found], method: str,
) -> Fitted:
    names = rows.columns.names
    infinite = infinite_terms(rows.x, rows.y, names)
    if infinite:
        return _separated(rows, infinite, method)
    found = search(rows)
    se, low, high, p, df = wald(found.coefficients, found.covariance, level)
    warnings = () if found.settled else ("The fit did not converge; do not use its numbers.",)
    return Fitted(names, found.coefficients, se, low, high, p, found.covariance, df,
                  "log odds ratio", method, warnings, True)


def _maximum_likelihood(rows: ModelRows) -> _Found:
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM

    result = GLM(rows.y, rows.x, family=Binomial()).fit(tol=1e-13, maxiter=200)
    return _Found(np.asarray(result.params), np.asarray(result.cov_params()),
                  bool(result.converged))


def _independence(rows: ModelRows) -> _Found:
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    model = GEE(rows.y, rows.x, groups=rows.cluster, family=Binomial())
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")  # that it did not settle is said in our words
        result = model.fit(maxiter=200, ctol=1e-9)
    return _Found(np.asarray(result.params), np.asarray(result.cov_params()),
                  bool(result.converged))


def _separated(rows: ModelRows, infinite: dict[str, int], method: str) -> Fitted:
    names = rows.columns.names
    none = np.full(len(names), np.nan)
    estimate = np.array([infinite.get(name, np.nan) * np.inf for name in names])
    covariance = np.full((len(names), len(names)), np.nan)
    warning = SEPARATED.format(terms=", ".join(infinite))
    return Fitted(names, estimate, none, none, none, none, covariance,
                  np.full(len(names), np.inf), "log odds ratio", method, (warning,))
