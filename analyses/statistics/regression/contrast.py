"""What one exposure's coefficients say: a ratio each, or for a curve one between two values.

The coefficients of a spline mean nothing one by one. Its ratio is that of the upper quartile of
the variable against the lower; the whole curve stands in its partial-effect plot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.fitted import SCALES
from analyses.statistics.regression.imputed_fit import ImputedFit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.rubin import pool
from analyses.statistics.regression.terms import Term, numbers


@dataclass(frozen=True)
class TwoValues:
    """Two values of a variable, between which a curve is read: often its quartiles."""

    low: float
    high: float

    @property
    def words(self) -> str:
        """`3.2 against 1.1`."""
        return f"{self.high:.3g} against {self.low:.3g}"


def quartiles_of(column: pd.Series) -> TwoValues:
    """TwoValues among the recorded values (values that were seen, not between two)."""
    low, high = np.quantile(numbers(column.dropna()), [0.25, 0.75], method="nearest")
    return TwoValues(float(low), float(high))


def is_curve(term: Term) -> bool:
    """Whether a term is a spline."""
    return term.form == "spline"


def exposure_ratios(
    model: ModelFit, exposure: Term, unit: str, between: TwoValues | None = None
) -> tuple[Estimate, ...]:
    """The ratios of one exposure of a fitted model: one a coefficient, or one of a curve.

    between: the values of a curve to compare, the quartiles of the model's rows where None.
    """
    names = model.rows.columns.names
    places = model.rows.columns.places(exposure.name)
    if not is_curve(exposure):
        return tuple(model.estimate(names[place], unit) for place in places)
    vector = curve_vector(model, exposure, between)
    df = float(np.min(model.fitted.df[places]))
    value, variance = _along(model, vector)
    return (_curve_ratio(model, exposure, unit, value, np.sqrt(variance), df, model.estimator),)


def pooled_ratios(
    imputed: ImputedFit, exposure: Term, unit: str, between: TwoValues | None = None
) -> tuple[Estimate, ...]:
    """The same from completed data sets, by Rubin's rules; a curve needs `between`."""
    first = imputed.models[0]
    if not is_curve(exposure):
        names = {first.rows.columns.names[p] for p in first.rows.columns.places(exposure.name)}
        return tuple(e for e in imputed.estimates(unit) if (e.group or {})["term"] in names)
    parts = [_along(one, curve_vector(one, exposure, between)) for one in imputed.models]
    found = pool(np.array([[value] for value, _ in parts]),
                 np.array([[variance] for _, variance in parts]),
                 max(1, first.clusters - first.rows.x.shape[1]))
    method = f"{imputed.estimator}, {len(parts)} imputations, Rubin's rules"
    return (_curve_ratio(first, exposure, unit, found.estimate[0], found.se[0], found.df[0],
                         method),)


def curve_vector(model: ModelFit, exposure: Term, between: TwoValues | None = None) -> Floats:
    """(columns,) what to multiply the coefficients by for the log ratio of a curve."""
    between = between or quartiles_of(model.rows.frame[exposure.columns[0]])
    frame = model.rows.frame.iloc[:1]
    ends = [model.rows.columns.encode(frame.assign(**{exposure.columns[0]: value}))[0]
            for value in (between.high, between.low)]
    vector = np.zeros(len(ends[0]))
    places = model.rows.columns.places(exposure.name)
    vector[places] = (ends[0] - ends[1])[places]
    return vector


def _along(model: ModelFit, vector: Floats) -> tuple[float, float]:
    return (float(vector @ model.fitted.coefficients),
            float(vector @ model.fitted.covariance @ vector))


def _curve_ratio(
    model: ModelFit, exposure: Term, unit: str, value: float, se: float, df: float, method: str
) -> Estimate:
    far = float(stats.t.ppf((1 + model.level) / 2, df)) * se
    return Estimate(
        id=f"model.{model.outcome}.{exposure.columns[0]}", kind=SCALES[model.fitted.scale],
        value=float(np.exp(value)), low=float(np.exp(value - far)),
        high=float(np.exp(value + far)), level=model.level, unit=unit, events=model.events,
        n=model.n, clusters=model.clusters, group={"term": exposure.columns[0]},
        method=f"{method}: restricted cubic spline, upper against lower quartile")
