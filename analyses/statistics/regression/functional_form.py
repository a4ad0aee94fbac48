"""Is a straight line enough? A term as a curve against the same term as a line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import f as fisher

from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.terms import Term, as_term


@dataclass(frozen=True)
class FunctionalForm:
    """Whether a curve fits one term better than a line.

    curve: the model with the spline; p: Wald test of its curved part, clustered as the model is;
    sentence: what to make of it.
    """

    curve: ModelFit
    p: float
    sentence: str


def functional_form(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]],
    column: str, *, cluster: str | None = None, estimator: str = "auto", knots: int = 3,
) -> FunctionalForm:
    """Fit `column` as a restricted cubic spline, the other terms as they are.

    Arguments as in `fit`; column: a linear term among `terms`. Raises ValueError where it is not
    one, where its values are too tied for the knots, or where events are too few for a model.
    """
    asked = [as_term(term) for term in terms]
    if (column,) not in [term.columns for term in asked]:
        raise ValueError(f"{column!r} is not among the terms")
    curved = [replace(term, form="spline", knots=knots, per=1.0)
              if term.columns == (column,) else term for term in asked]
    model = fit(data, outcome, curved, cluster=cluster, estimator=estimator)
    if model.estimator == "exact":
        raise ValueError(model.why)
    places = model.rows.columns.places(column)[1:]
    p = wald_p(model, places)
    return FunctionalForm(model, p, _sentence(model, column, p, len(places)))


def wald_p(model: ModelFit, places: Sequence[int]) -> float:
    """P that the coefficients in `places` are all 0; F with the smallest of their df."""
    places = list(places)
    beta = model.fitted.coefficients[places]
    covariance = model.fitted.covariance[np.ix_(places, places)]
    statistic = float(beta @ np.linalg.solve(covariance, beta)) / len(places)
    df = min(float(model.fitted.df[places].min()), 1e6)
    return float(fisher.sf(statistic, len(places), df))


def _sentence(model: ModelFit, column: str, p: float, extra: int) -> str:
    behind = "" if model.events is None else f" ({model.events} events)"
    if p < 0.05:
        return (f"{column}: a curve describes the data better than a straight line (P {p:.3f}"
                f"{behind}); read its partial-effect plot, not one ratio.")
    return (f"{column}: no sign that a straight line misleads (P {p:.2f} for {extra} curved "
            f"coefficient{'s' if extra > 1 else ''}{behind}), though so few "
            f"{'rows' if model.events is None else 'events'} could hide a curve.")
