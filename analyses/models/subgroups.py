"""Planned subgroups: does the association differ between them?

One model with the product of exposure and subgroup, never a model a subgroup: two intervals, one
with and one without 1, do not show a difference (Altman and Bland 2003, BMJ 326:219). On rows
with everything recorded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from analyses.models.model_plan import PlannedModel
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.regression.fitted import SCALES
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.terms import Term, is_two_valued

RATIO_OF_RATIOS = "ratio of {kind}s"


@dataclass(frozen=True)
class SubgroupLine:
    """One coefficient of the exposure in one planned subgroup column.

    within: the ratio in the subgroup's "no" and "yes" rows (none where it is not yes/no);
    between: how many times the one ratio is the other.
    """

    column: str
    term: str
    within: tuple[Estimate, ...]
    between: Estimate


def fit_subgroups(
    model: PlannedModel, data: pd.DataFrame, level: float
) -> dict[str, ModelFit | str]:
    """A model with the planned product for each subgroup column, or why there is none."""
    cluster = model.cluster if model.cluster in data.columns else None
    found: dict[str, ModelFit | str] = {}
    for column in model.subgroups:
        own = () if any(column in t.columns for t in model.terms) else (Term((column,)),)
        product = Term((*model.exposure.columns, column), "interaction")
        try:
            one = fit(data, model.outcome, (*model.terms, *own, product), cluster=cluster,
                      estimator=model.estimator, level=level)
        except ValueError as problem:
            found[column] = str(problem)
            continue
        found[column] = one.why if one.estimator == "exact" else one
    return found


def subgroup_lines(
    model: PlannedModel, fits: Mapping[str, ModelFit | str]
) -> tuple[SubgroupLine, ...]:
    """The lines of every subgroup that could be fitted, in the order planned."""
    return tuple(line for column, found in fits.items() if isinstance(found, ModelFit)
                 for line in _lines(model, column, found))


def _lines(model: PlannedModel, column: str, found: ModelFit) -> list[SubgroupLine]:
    columns = found.rows.columns
    product = Term((*model.exposure.columns, column), "interaction").name
    own, both = columns.places(model.exposure.name), columns.places(product)
    lines = []
    for place, crossed in zip(own, both[:len(own)], strict=True):
        term = columns.names[place]
        within = [_along(model, found, term, {place: 1.0}, {column: "no"}),
                  _along(model, found, term, {place: 1.0, crossed: 1.0}, {column: "yes"})]
        between = found.estimate(columns.names[crossed], model.unit)
        lines.append(SubgroupLine(
            column, term, tuple(within) if is_two_valued(found.rows.frame[column]) else (),
            replaced(between, kind=RATIO_OF_RATIOS.format(kind=between.kind))))
    return lines


def _along(
    model: PlannedModel, found: ModelFit, term: str, parts: Mapping[int, float],
    group: Mapping[str, str],
) -> Estimate:
    """The ratio of a sum of coefficients, Wald with the smallest of their degrees of freedom."""
    vector: Floats = np.zeros(len(found.fitted.names))
    vector[list(parts)] = list(parts.values())
    value = float(vector @ found.fitted.coefficients)
    df = float(np.min(found.fitted.df[list(parts)]))
    far = float(stats.t.ppf((1 + found.level) / 2, df)) * float(
        np.sqrt(vector @ found.fitted.covariance @ vector))
    return Estimate(
        id=f"model.{found.outcome}.{term}.subgroup", kind=SCALES[found.fitted.scale],
        value=float(np.exp(value)), low=float(np.exp(value - far)),
        high=float(np.exp(value + far)), level=found.level, unit=model.unit,
        events=found.events, n=found.n, clusters=found.clusters, group={"term": term, **group},
        method=f"{found.estimator}: product of exposure and subgroup, Wald")
