"""Running a plan: every declared model on the rows of its unit, nothing hidden when one fails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analyses.models.applies import rows_asked
from analyses.models.model_plan import Plan, PlannedModel, chain_problems
from analyses.models.planned_result import PlannedResult
from analyses.models.subgroups import fit_subgroups
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.contrast import (
    exposure_ratios,
    is_curve,
    pooled_ratios,
    quartiles_of,
)
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.imputed_fit import ImputedFit, fit_imputed
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.standardisation import (
    StandardisedRisks,
    imputed_risks,
    standardised_risks,
)
from analyses.statistics.regression.terms import Term, form_of, is_two_valued, numbers

OBSERVATIONAL = (
    "Associations in observational data, open to confounding by indication; not a basis for "
    "decisions on one patient or for ranking operators."
)


def run_plan(plan: Plan, frames: Mapping[str, pd.DataFrame]) -> tuple[PlannedResult, ...]:
    """Run every model whose unit has a frame.

    frames: unit (session, lesion, patient, resection) to its rows. A model that cannot be
    fitted yields its reason, never an exception. One after another, unless the caller asks joblib
    for more, `with joblib.parallel_config(n_jobs=-1):` for all cores of this machine (or Dask as
    its backend for several); the numbers are the same.
    """
    from joblib import Parallel, delayed

    found = Parallel()(delayed(run_model)(model, frames[model.unit], plan.level, "planned")
                       for model in plan.models if model.unit in frames)
    return tuple(found)


def run_model(
    model: PlannedModel, data: pd.DataFrame, level: float, status: str
) -> PlannedResult:
    """Run one model on the rows of its unit."""
    problems = chain_problems(model.outcome, model.exposure, model.adjust)
    if problems:
        return PlannedResult(model, status, None, "; ".join(problems))
    data, not_asked = rows_asked(data, [c for term in model.terms for c in term.columns])
    try:
        fitted = _fit(model, data, model.terms, level)
    except ValueError as problem:
        return PlannedResult(model, status, None, str(problem), not_asked=not_asked)
    imputed, note = _imputed(model, data, fitted, level)
    return PlannedResult(
        model, status, fitted, note, imputed, _ratios(model, fitted, imputed),
        _risks(fitted, imputed, model), fit_subgroups(model, data, level), not_asked)


def _ratios(
    model: PlannedModel, fitted: ModelFit, imputed: ImputedFit | None
) -> tuple[Estimate, ...]:
    if imputed is None:
        return exposure_ratios(fitted, model.exposure, model.unit)
    # A curve is read between the quartiles that were recorded, in every completed set.
    between = (quartiles_of(fitted.rows.frame[model.exposure.columns[0]])
               if is_curve(model.exposure) else None)
    return pooled_ratios(imputed, model.exposure, model.unit, between)


def _fit(
    model: PlannedModel, data: pd.DataFrame, terms: Sequence[Term], level: float
) -> ModelFit:
    cluster = model.cluster if model.cluster in data.columns else None
    return fit(data, model.outcome, terms, cluster=cluster, estimator=model.estimator, level=level)


def _imputed(
    model: PlannedModel, data: pd.DataFrame, fitted: ModelFit, level: float
) -> tuple[ImputedFit | None, str]:
    """The pooled model; none where nothing is missing but outcomes, which are not imputed."""
    gaps = [name for name in fitted.rows.missing if name not in ("", model.outcome, model.cluster)]
    if model.missing != "imputation" or not gaps:
        return None, ""
    cluster = model.cluster if model.cluster in data.columns else None
    try:
        return fit_imputed(data, model.outcome, model.terms, cluster=cluster,
                           estimator=model.estimator, level=level), ""
    except ValueError as problem:
        return None, f"Imputation gave no answer: {problem}"


def _risks(
    fitted: ModelFit, imputed: ImputedFit | None, model: PlannedModel
) -> StandardisedRisks | None:
    whole = imputed.models[0] if imputed else fitted
    if not whole.fitted.gives_risks or len(model.exposure.columns) > 1:
        return None
    settings = exposure_settings(fitted.rows.frame[model.exposure.columns[0]], model.exposure)
    if imputed is not None:
        return imputed_risks(imputed, settings, unit=model.unit)
    return standardised_risks(fitted, settings, unit=model.unit)


def exposure_settings(column: pd.Series, exposure: Term) -> list[dict[str, object]]:
    """Values to compare: no and yes; the levels of a factor; or the quartiles of a number."""
    name = exposure.columns[0]
    if form_of(exposure, column) == "factor":
        levels = sorted(column.dropna().unique(), key=str)
        first = exposure.reference if exposure.reference in levels else levels[0]
        return [{name: level} for level in [first, *(v for v in levels if v != first)]]
    if is_two_valued(column):
        return [{name: False}, {name: True}]
    values = numbers(column.dropna())
    if np.isin(values, (0, 1)).all():
        return [{name: 0}, {name: 1}]
    low, high = np.quantile(values, [0.25, 0.75], method="nearest")
    if low == high:
        low, high = values.min(), values.max()
    return [{name: float(low)}, {name: float(high)}]
