"""Firth's penalised Cox model: hazard ratios when few patients have the event.

Heinze and Schemper 2001, Biometrics 57:114; fitted with the firthmodels library (numpy
backend), intervals and tests from the penalised partial likelihood. One row a patient.
"""

from __future__ import annotations

import warnings as python_warnings

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_rows import ModelRows


def firth_cox(rows: ModelRows, duration: str, level: float) -> Fitted:
    """Log hazard ratios; `duration` is a column of time to event or censoring, above 0.

    Standard errors are those of firthmodels. Raises ValueError where patients repeat, a
    duration is not above 0, or no event was seen.
    """
    from firthmodels import FirthCoxPH

    time = pd.to_numeric(rows.frame[duration]).to_numpy(float)
    _check(rows, time, duration)
    scale = rows.x[:, 1:].std(axis=0)  # columns of like size, so that the search is even
    columns = rows.x[:, 1:] / scale
    model = FirthCoxPH(backend="numpy", gtol=1e-6, xtol=1e-6, max_iter=200)
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("error")
        try:
            model.fit(columns, (rows.y == 1, time))
            model.lrt()
            interval = model.conf_int(alpha=1 - level, method="pl") / scale[:, None]
        except Warning as problem:
            raise ValueError(f"the penalised Cox model did not converge: {problem}") from None
    se = np.asarray(model.bse_) / scale
    terms = rows.x.shape[1] - 1
    return Fitted(rows.columns.names[1:], np.asarray(model.coef_) / scale, se, interval[:, 0],
                  interval[:, 1], np.asarray(model.lrt_pvalues_), np.diag(se**2),
                  np.full(terms, np.inf), "log hazard ratio",
                  "Firth-penalised Cox model, profile interval")


def _check(rows: ModelRows, time: Floats, duration: str) -> None:
    if rows.repeated:
        raise ValueError("the penalised Cox model takes one row a patient; patients repeat here")
    if not (time > 0).all():
        raise ValueError(f"{duration}: {int((~(time > 0)).sum())} rows have a time not above 0")
    if not (rows.y == 1).any():
        raise ValueError(f"{rows.outcome}: no event was seen, so no hazard ratio can be given")
