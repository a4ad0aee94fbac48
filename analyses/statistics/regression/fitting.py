"""`fit`: one call for every model of this package."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.regression.estimator_choice import BINARY, Choice, choose
from analyses.statistics.regression.fitted import Fitted
from analyses.statistics.regression.model_checks import (
    binary_warnings,
    is_binary,
    other_warnings,
    rank_problem,
    rarer_outcome,
)
from analyses.statistics.regression.model_fit import ModelFit, as_table
from analyses.statistics.regression.model_rows import ModelRows, model_rows
from analyses.statistics.regression.terms import Term

IGNORES_PATIENTS = (
    "Rows of one patient are taken as independent here, so the interval is too narrow; for "
    "comparison only."
)


def fit(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]], *,
    cluster: str | None = None, estimator: str = "auto", level: float = 0.95,
    duration: str | None = None,
) -> ModelFit:
    """Fit a regression model and say which, why, and what to beware of.

    data: one row a unit. outcome: a column of yes/no or 0/1, an ordered categorical, or a
    positive measurement (a few whole numbers up to 6 only with the estimator named, since they
    may be codes of events). terms: column names, `Term`s or a plan file's tables. cluster: the
    column that names the patient. estimator: "auto" chooses by rule; or "firth", "logistic",
    "gee", "penalised-gee", "poisson", "exact", "ordinal", "log-linear", "cox" (needs `duration`,
    a column of time). level: coverage of the intervals.

    Rows with a gap are left out and counted in the warnings. Raises ValueError, in words that
    name the columns, for a call or data no model can be fitted to.
    """
    model = fit_again(data, outcome, terms, cluster=cluster, estimator=estimator, level=level,
                      duration=duration)
    notes = _notes(model.rows, model.estimator, model.fitted.undetermined)
    return replace(model, warnings=model.warnings + notes)


def fit_again(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]], *,
    cluster: str | None = None, estimator: str = "auto", level: float = 0.95,
    duration: str | None = None,
) -> ModelFit:
    """As `fit`, but for the warnings on the data: for the same question asked many times over.

    They cost more than the fit (a linear programme for separation), and one set of completed
    values has much the same as the next.
    """
    if not 0 < level < 1:
        raise ValueError(f"level {level}: wanted a share between 0 and 1, such as 0.95")
    if duration is not None and estimator != "cox":
        raise ValueError(f"duration {duration!r} is for estimator 'cox' alone, not {estimator!r}")
    rows = model_rows(data, outcome, terms, cluster)
    choice = choose(rows, estimator)
    _refuse(rows, choice)
    fitted = _run(rows, choice.estimator, level, duration)
    events = int(rows.y.sum()) if is_binary(rows.y) else None
    return ModelFit(as_table(fitted), choice.estimator, choice.why, fitted.warnings, events,
                    rows.n, rows.clusters, level, rows, fitted)


def fit_outcomes(model: ModelFit, y: Floats, estimator: str = "auto") -> ModelFit:
    """The same terms of the same rows with other outcomes: (rows,) in the order of the model's.

    For outcomes exchanged between patients, many times over: nothing is checked or encoded again.
    estimator: as in `fit`, chosen again where events decide it. Raises ValueError as `fit`.
    """
    rows = replace(model.rows, y=y)
    choice = choose(rows, estimator)
    _refuse(rows, choice)
    fitted = _run(rows, choice.estimator, model.level, None)
    events = int(y.sum()) if is_binary(y) else None
    return ModelFit(as_table(fitted), choice.estimator, choice.why, fitted.warnings, events,
                    rows.n, rows.clusters, model.level, rows, fitted)


def _notes(rows: ModelRows, estimator: str, told_already: Collection[str]) -> tuple[str, ...]:
    if estimator not in BINARY or estimator == "exact":
        return other_warnings(rows, told_already)
    ignores = rows.repeated and estimator in ("firth", "logistic")
    return ((IGNORES_PATIENTS,) if ignores else ()) + binary_warnings(
        rows, told_already)


def _refuse(rows: ModelRows, choice: Choice) -> None:
    problem = rank_problem(rows.x, rows.columns.names)
    if problem:
        raise ValueError(problem)
    if choice.estimator in BINARY and rarer_outcome(rows.y) == 0:
        raise ValueError(
            f"{rows.outcome}: the outcome is the same in all {rows.n} rows, so there is nothing "
            "to compare")


def _run(rows: ModelRows, estimator: str, level: float, duration: str | None) -> Fitted:
    if estimator == "cox":
        from analyses.statistics.regression.cox import cox

        if duration is None or duration not in rows.frame.columns:
            raise ValueError("estimator 'cox' needs duration, the name of a column of times")
        return cox(rows, duration, level)
    if estimator in ("ordinal", "log-linear", "poisson"):
        return _other(estimator)(rows, level)
    return _logistic_family(estimator)(rows, level)


def _other(estimator: str) -> Callable[[ModelRows, float], Fitted]:
    if estimator == "ordinal":
        from analyses.statistics.regression.ordinal import proportional_odds

        return proportional_odds
    if estimator == "poisson":
        from analyses.statistics.regression.poisson import modified_poisson

        return modified_poisson
    from analyses.statistics.regression.log_linear import log_linear

    return log_linear


def _logistic_family(estimator: str) -> Callable[[ModelRows, float], Fitted]:
    from analyses.statistics.regression import (
        exact_model,
        firth_model,
        likelihood_models,
        penalised_gee,
    )

    return {
        "firth": firth_model.firth, "penalised-gee": penalised_gee.penalised_gee,
        "logistic": likelihood_models.logistic, "gee": likelihood_models.gee,
        "exact": exact_model.exact,
    }[estimator]
