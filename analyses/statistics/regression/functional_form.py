"""How a term would run as a curve: its ratio below and above the median, a description."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.regression.contrast import TwoValues, curve_vector
from analyses.statistics.regression.fitted import SCALES
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.splines import default_knots
from analyses.statistics.regression.terms import Term, as_term, numbers
from analyses.words.numerals import ratio


@dataclass(frozen=True)
class FunctionalForm:
    """One term as a curve with three knots.

    curve: the model with the spline; below, above: the ratio a step (the term's own `per`) from
    the 10th percentile to the median, and from there to the 90th, which a straight line would
    make equal; sentence: what to make of it.
    """

    curve: ModelFit
    below: float
    above: float
    sentence: str


def functional_form(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]],
    column: str, *, cluster: str | None = None, estimator: str = "auto",
) -> FunctionalForm:
    """Fit `column` as a restricted cubic spline with three knots, the other terms as they are.

    Arguments as in `fit`; column: a linear term among `terms`. Nothing is tested: the plan asks
    no such question. Raises ValueError where it is not one, where its values are too tied for the
    knots, or where events are too few for a model.
    """
    asked = [as_term(term) for term in terms]
    line = next((term for term in asked if term.columns == (column,)), None)
    if line is None:
        raise ValueError(f"{column!r} is not among the terms")
    bent = replace(line, form="spline", knots=3, per=1.0)
    model = fit(data, outcome, [bent if term is line else term for term in asked],
                cluster=cluster, estimator=estimator)
    if model.estimator == "exact":
        raise ValueError(model.why)
    low, middle, high = default_knots(numbers(model.rows.frame[column]))
    below, above = (_a_step(model, bent, TwoValues(*ends), line.per)
                    for ends in ((low, middle), (middle, high)))
    return FunctionalForm(model, below, above, _sentence(model, column, below, above))


def _a_step(model: ModelFit, term: Term, between: TwoValues, step: float) -> float:
    """The ratio a step between two values of a curve, as a line between them would give it."""
    log = float(curve_vector(model, term, between) @ model.fitted.coefficients)
    return float(np.exp(log * step / (between.high - between.low)))


def _sentence(model: ModelFit, column: str, below: float, above: float) -> str:
    behind = "" if model.events is None else f" ({model.events} events)"
    return (f"{column}: as a curve, {SCALES[model.fitted.scale]} a step {ratio(below)} below the "
            f"median and {ratio(above)} above it{behind}; a straight line gives one for both. "
            f"Few {'rows' if model.events is None else 'events'} bend a curve easily, and can hide "
            "one.")
