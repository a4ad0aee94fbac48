"""Predicted risks of a fitted model, always from the intercept-corrected fit (FLIC)."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import pandas as pd
from scipy.special import expit

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.corrected_intercept import corrected_intercept
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows


class Predicting(Protocol):
    """What a prediction needs of a model; a `ModelFit` has it."""

    @property
    def estimator(self) -> str: ...
    @property
    def why(self) -> str: ...
    @property
    def outcome(self) -> str: ...
    @property
    def rows(self) -> ModelRows: ...
    @property
    def fitted(self) -> Fitted: ...


def require_risks(model: Predicting) -> None:
    """Raise ValueError, in words, where a model cannot give risks."""
    if not model.fitted.gives_risks:
        raise ValueError(
            f"the {model.estimator} model of {model.outcome} gives no risks: {model.why} "
            "Use a firth or penalised-gee model for risks."
        )


def corrected_coefficients(model: Predicting) -> Floats:
    """The slopes with the intercept that makes predicted events equal observed ones."""
    require_risks(model)
    beta = model.fitted.coefficients.copy()
    beta[0] = corrected_intercept(model.rows.x[:, 1:] @ beta[1:], model.rows.y)[0]
    return beta


def predicted_risk(model: Predicting, frame: pd.DataFrame) -> Floats:
    """(rows,) risks for the rows of `frame`, which needs the columns of the model's terms.

    Raises ValueError where a column is missing or the model gives no risks.
    """
    if model.estimator == "poisson":
        return np.exp(model.rows.columns.encode(frame) @ model.fitted.coefficients)
    lacking = sorted({c for term in model.rows.columns.terms for c in term.columns}
                     - set(frame.columns))
    if lacking:
        raise ValueError(f"to predict, the rows need the columns {', '.join(lacking)}")
    found: Floats = expit(model.rows.columns.encode(frame) @ corrected_coefficients(model))
    return found
