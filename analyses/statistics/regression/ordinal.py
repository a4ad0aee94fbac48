"""Proportional odds for an ordered outcome such as the modified Rankin Scale.

McCullagh 1980, J R Stat Soc B 42:109; fitted with statsmodels. A coefficient is the log odds
ratio of a higher (worse) level, the same at every cut. Rows of one patient: sandwich by
patient, t with patients − terms degrees of freedom.
"""

from __future__ import annotations

import warnings as python_warnings
from typing import Any

import numpy as np

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.regression.fitted import Fitted, wald
from analyses.statistics.regression.lone_patient import rests_on_one, unweighted_parts, withheld
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.sandwich import sum_by_cluster


def proportional_odds(rows: ModelRows, level: float) -> Fitted:
    """Log odds ratios of a higher level; one row a column of the design but the intercept.

    Raises ValueError where the outcome has under three levels.
    """
    levels, codes = np.unique(rows.y, return_inverse=True)
    if len(levels) < 3:
        raise ValueError(
            f"{rows.outcome} has {len(levels)} levels; proportional odds needs three or more"
        )
    x = rows.x[:, 1:]
    scale = np.maximum(x.std(axis=0), 1e-12)
    model, result = _fit(x / scale, codes)
    terms = x.shape[1]
    covariance = _covariance(model, result, rows)[:terms, :terms] / np.outer(scale, scale)
    coefficients = np.asarray(result.params)[:terms] / scale
    df = max(1, rows.clusters - terms - len(levels) + 1) if rows.repeated else np.inf
    se, low, high, p, degrees = wald(coefficients, covariance, level, df)
    method = "proportional odds, " + (
        "robust variance by patient" if rows.repeated else "maximum likelihood, Wald interval")
    notes = _notes(coefficients, scale) + _parallel(x, codes, coefficients)
    fitted = Fitted(rows.columns.names[1:], coefficients, se, low, high, p, covariance, degrees,
                    "log odds ratio", method, notes)
    if not rows.repeated:  # the variance is the likelihood's, not one of residuals
        return fitted
    return withheld(fitted, rows, rests_on_one(unweighted_parts(rows)))


def _fit(x: Floats, codes: Whole) -> tuple[Any, Any]:
    """The model and its result, as statsmodels gives them (it has no types)."""
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    model = OrderedModel(codes, x, distr="logit")
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        first = model.fit(method="bfgs", disp=0, maxiter=500)
        return model, model.fit(start_params=first.params, method="newton", disp=0, maxiter=50,
                                tol=1e-12)


def _covariance(model: Any, result: Any, rows: ModelRows) -> Floats:
    """Inverse observed information; with repeated patients the sandwich around it."""
    inverse = np.linalg.inv(-model.hessian(result.params))
    if not rows.repeated:
        return inverse
    scores = sum_by_cluster(model.score_obs(result.params), rows.cluster, rows.clusters)
    return inverse @ (scores.T @ scores) @ inverse


def _notes(coefficients: Floats, scale: Floats) -> tuple[str, ...]:
    if not np.isfinite(coefficients).all() or np.any(np.abs(coefficients * scale) > 15):
        return ("An estimate runs to infinity (the levels are separated); do not use it.",)
    return ()


def _parallel(x: Floats, codes: Whole, together: Floats) -> tuple[str, ...]:
    """Compare with a Firth logistic model at each cut; a sentence where they disagree in sign."""
    from analyses.statistics.regression.firth import penalised_logistic

    apart = 0
    with_intercept = np.column_stack([np.ones(len(x)), x])
    for cut in range(1, codes.max() + 1):
        fit = penalised_logistic(with_intercept, (codes >= cut).astype(float))
        se = np.sqrt(np.diag(fit.covariance))[1:]
        apart += int(np.any(np.abs(fit.coefficients[1:] - together) > 2 * se))
    if apart:
        return (f"At {apart} of {codes.max()} cuts of the scale a coefficient differs from the "
                "common one by over two standard errors; one odds ratio for all cuts may not do.",)
    return ()
