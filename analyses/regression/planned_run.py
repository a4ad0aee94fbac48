"""Running a plan: every declared model on the rows of its unit, nothing hidden when one fails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analyses.estimate import Estimate
from analyses.regression.fitting import fit
from analyses.regression.imputed_fit import ImputedFit, fit_imputed
from analyses.regression.plan import Plan, PlannedModel, chain_problems
from analyses.regression.result import ModelFit
from analyses.regression.standardisation import StandardisedRisks, standardised_risks
from analyses.regression.terms import Term, form_of, is_two_valued, numbers

OBSERVATIONAL = (
    "Associations in observational data, open to confounding by indication; not a basis for "
    "decisions on one patient or for ranking operators."
)


@dataclass(frozen=True)
class PlannedResult:
    """What became of one declared (or exploratory) model.

    status: "planned" or "exploratory"; fit: the model, None where it could not be fitted, and
    then `refusal` says why; imputed: the pooled model where the plan asks for it; ratios: the
    estimates of the exposure; risks: standardised risks at two settings of the exposure.
    """

    model: PlannedModel
    status: str
    fit: ModelFit | None
    refusal: str = ""
    imputed: ImputedFit | None = None
    ratios: tuple[Estimate, ...] = ()
    risks: StandardisedRisks | None = None
    subgroups: Mapping[str, ModelFit | str] = field(default_factory=dict)

    @property
    def sentence(self) -> str:
        """One sentence a clinician can read, with the events behind it."""
        from analyses.regression.wording import result_sentence

        return result_sentence(self)


def run_plan(plan: Plan, frames: Mapping[str, pd.DataFrame]) -> tuple[PlannedResult, ...]:
    """Run every model whose unit has a frame.

    frames: unit (session, lesion, patient, resection) to its rows. A model that cannot be
    fitted yields its reason, never an exception.
    """
    return tuple(run_model(model, frames[model.unit], plan.level, "planned")
                 for model in plan.models if model.unit in frames)


def run_exploratory(
    plan: Plan | None, data: pd.DataFrame, model: PlannedModel, level: float = 0.95
) -> PlannedResult:
    """Run a model that may not stand in the plan; it is marked accordingly."""
    status = "exploratory" if plan is None else plan.status(
        model.outcome, model.terms, model.estimator)
    return run_model(model, data, level, status)


def run_model(
    model: PlannedModel, data: pd.DataFrame, level: float, status: str
) -> PlannedResult:
    """Run one model on the rows of its unit."""
    problems = chain_problems(model.exposure, model.adjust)
    if problems:
        return PlannedResult(model, status, None, "; ".join(problems))
    try:
        fitted = _fit(model, data, model.terms, level)
    except ValueError as problem:
        return PlannedResult(model, status, None, str(problem))
    imputed, note = _imputed(model, data, level)
    names = _exposure_names(fitted, model.exposure)
    source = imputed.estimates(model.unit) if imputed else fitted.estimates(model.unit)
    ratios = tuple(one for one in source if (one.group or {})["term"] in names)
    return PlannedResult(model, status, fitted, note, imputed, ratios,
                         _risks(fitted, model), _subgroups(model, data, level))


def _fit(
    model: PlannedModel, data: pd.DataFrame, terms: Sequence[Term], level: float
) -> ModelFit:
    cluster = model.cluster if model.cluster in data.columns else None
    return fit(data, model.outcome, terms, cluster=cluster, estimator=model.estimator, level=level)


def _imputed(
    model: PlannedModel, data: pd.DataFrame, level: float
) -> tuple[ImputedFit | None, str]:
    if model.missing != "imputation":
        return None, ""
    try:
        return fit_imputed(data, model.outcome, model.terms, cluster=model.cluster,
                           estimator=model.estimator, level=level), ""
    except ValueError as problem:
        return None, f"Imputation gave no answer: {problem}"


def _exposure_names(fitted: ModelFit, exposure: Term) -> list[str]:
    names = fitted.rows.columns.names
    return [names[place] for place in fitted.rows.columns.places(exposure.name)]


def _risks(fitted: ModelFit, model: PlannedModel) -> StandardisedRisks | None:
    if fitted.fitted.penalised is None or len(model.exposure.columns) > 1:
        return None
    settings = exposure_settings(fitted.rows.frame[model.exposure.columns[0]], model.exposure)
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


def _subgroups(
    model: PlannedModel, data: pd.DataFrame, level: float
) -> dict[str, ModelFit | str]:
    """A model with the planned interaction for each subgroup column, or why there is none."""
    found: dict[str, ModelFit | str] = {}
    for column in model.subgroups:
        own = () if any(column in t.columns for t in model.terms) else (Term((column,)),)
        product = Term((*model.exposure.columns, column), "interaction")
        try:
            found[column] = _fit(model, data, (*model.terms, *own, product), level)
        except ValueError as problem:
            found[column] = str(problem)
    return found
