"""The numbers of the technique models as estimates, each with a name of its own.

Beside the adjusted ratio of each declared model: the ratio of the variable alone, on the same
rows; the events (or the values) seen behind it; the standardised risks; and the E-values.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analyses.measures.results_record import key_of
from analyses.models.planned_result import PlannedResult
from analyses.models.subgroups import subgroup_lines
from analyses.models.technique_models import TechniqueModels
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.regression.contrast import (
    exposure_ratios,
    is_curve,
    pooled_ratios,
    quartiles_of,
)
from analyses.statistics.regression.e_value import as_risk_ratio, e_value, e_value_of_bound
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.imputed_fit import fit_completed
from analyses.statistics.regression.standardisation import numbers_needed
from analyses.words.estimate_text import plural
from analyses.words.flags import NO_MODEL

SEEN, ALONE, COMPLETE, E_VALUE, E_BOUND = (
    "seen", "alone", "complete_rows", "e_value", "e_value_of_bound")


@dataclass(frozen=True)
class TermEstimates:
    """What is told of one line of one model.

    adjusted: the declared model's ratio; complete: the same from rows with everything recorded,
    where gaps were imputed; alone: that of the variable by itself, None where no number can be
    given; seen: shares of events with and without, or medians with and without the event, as
    recorded; e_values: of the ratio and of its interval's nearer end (none where it includes 1).
    """

    result: PlannedResult
    term: str
    adjusted: Estimate
    complete: Estimate | None
    alone: Estimate | None
    seen: tuple[Estimate, ...]
    e_values: tuple[Estimate, ...]


@dataclass(frozen=True)
class ModelNumbers:
    """Every line of every model that gives a number, and all their estimates in order."""

    lines: tuple[TermEstimates, ...] = ()
    estimates: tuple[Estimate, ...] = field(default=(), repr=False)

    def line(self, adjusted: Estimate) -> TermEstimates | None:
        """The line whose adjusted ratio this is."""
        return next((line for line in self.lines if line.adjusted == adjusted), None)


def model_numbers(models: TechniqueModels | None) -> ModelNumbers:
    """The numbers of all models that could be fitted; none where there are no models."""
    if models is None:
        return ModelNumbers()
    lines = tuple(line for result in models.results for line in _lines(result))
    found: list[Estimate] = []
    for result in models.results:
        mine = [line for line in lines if line.result is result]
        for line in mine:
            found += [line.adjusted, *filter(None, [line.complete, line.alone]), *line.seen,
                      *line.e_values]
        found += _unanswered(result)
        found += _outside(result)
        found += result.diagnosis.estimates if result.diagnosis else ()
        for one in subgroup_lines(result.model, result.subgroups):
            found += [*one.within, one.between]
        if result.risks is not None:
            found += [*result.risks.risks, *result.risks.differences]
            found += [e for gap in result.risks.differences for e in numbers_needed(gap)]
    return ModelNumbers(lines, tuple(_named_apart(found)))


def _lines(result: PlannedResult) -> list[TermEstimates]:
    if not result.answered:
        return []
    alone = _alone(result)
    complete = {(e.group or {})["term"]: replaced(e, id=f"{e.id}.{COMPLETE}")
                for e in result.complete_ratios if e.value is not None}
    found = []
    for ratio in result.ratios:
        if ratio.value is None:
            continue
        term = (ratio.group or {})["term"]
        found.append(TermEstimates(
            result, term, ratio, complete.get(term), alone.get(term),
            seen_behind(result, term, ratio), _e_values(ratio)))
    return found


def _unanswered(result: PlannedResult) -> list[Estimate]:
    """A model without a ratio: how many rows and events there were, and what was seen."""
    if result.fit is None or result.answered:
        return []
    found = []
    for e in result.ratios:
        term = (e.group or {})["term"]
        found += [replaced(e, flags=(*e.flags, NO_MODEL)), *seen_behind(result, term, e)]
    return found


def _outside(result: PlannedResult) -> list[Estimate]:
    """How many units the question could not be asked of, by the variable with no meaning there."""
    return [Estimate(id=f"model.{result.model.outcome}.not_asked", kind="count",
                     value=float(count), unit=result.model.unit, method="count",
                     group={"variable": column})
            for column, count in result.not_asked.items()]


def unanswered_words(result: PlannedResult) -> str:
    """Of a model without a ratio: its events, and where they fall."""
    assert result.fit is not None
    fit = result.fit
    said = []
    for e in result.ratios:
        term = (e.group or {})["term"]
        level = term.partition(" [")[2].rstrip("]")
        start = f"{level}: " if level and len(result.ratios) > 1 else ""
        said.append(f"{start}{seen_text(seen_behind(result, term, e))}")
    return (f"{fit.events:,} {'event' if fit.events == 1 else 'events'} in {fit.n:,} "
            f"{result.model.unit if fit.n == 1 else plural(result.model.unit)}; "
            f"{'; '.join(said)}.")


def seen_text(seen: tuple[Estimate, ...]) -> str:
    """`8/37 with, 11/125 without`, or medians."""
    words = [(e, (e.group or {})["rows"]) for e in seen]
    if seen[0].kind == "proportion":
        return ", ".join(f"{e.events}/{e.n} {word}" for e, word in words)
    told = (f"{e.number_text().partition(', n')[0]} {'' if word == 'all' else word}".strip()
            for e, word in words)
    return f"median {', '.join(told)}"


def _alone(result: PlannedResult) -> dict[str, Estimate]:
    """Ratios of the exposure by itself, on the rows (and completed sets) of the adjusted model."""
    model, whole = result.model, result.fit
    assert whole is not None
    try:
        found = _alone_imputed(result) if result.imputed is not None else exposure_ratios(
            fit(whole.rows.frame, model.outcome, [model.exposure],
                cluster=whole.rows.clustered_by, estimator=model.estimator, level=whole.level),
            model.exposure, model.unit)
    except ValueError:
        return {}
    return {(e.group or {})["term"]: replaced(e, id=f"{e.id}.{ALONE}")
            for e in found if e.value is not None}


def _alone_imputed(result: PlannedResult) -> tuple[Estimate, ...]:
    model, whole, imputed = result.model, result.fit, result.imputed
    assert whole is not None and imputed is not None
    one = fit_completed(
        imputed.imputation, whole.rows.frame, model.outcome, [model.exposure],
        cluster=whole.rows.clustered_by, estimator=model.estimator, level=whole.level)
    between = quartiles_of(whole.rows.frame[model.exposure.columns[0]]) if is_curve(
        model.exposure) else None
    return pooled_ratios(one, model.exposure, model.unit, between)


def seen_behind(result: PlannedResult, term: str, ratio: Estimate) -> tuple[Estimate, ...]:
    """The raw numbers behind a ratio, so that no model stands in for the data."""
    assert result.fit is not None
    rows = result.fit.rows
    column = rows.x[:, rows.columns.names.index(term)] * _step(result, term)
    parts = [("with", column != 0), ("without", column == 0)]
    if np.isin(column, (0.0, 1.0)).all():
        return tuple(_share(rows.y[part], rows.cluster[part], ratio, word) if
                     result.fit.events is not None else _median(rows.y[part], ratio, word)
                     for word, part in parts)
    if result.fit.events is None:
        return (_median(column, ratio, "all"),)
    return tuple(_median(column[rows.y == value], ratio, word)
                 for word, value in (("with the event", 1), ("without", 0)))


def _step(result: PlannedResult, term: str) -> float:
    """A linear term's own unit: columns are divided by the step of their coefficient."""
    whole = "[" in term or is_curve(result.model.exposure)
    return 1.0 if whole else result.model.exposure.per


def _share(y: np.ndarray, cluster: np.ndarray, ratio: Estimate, word: str) -> Estimate:
    return clustered_proportion(
        y.astype(bool), cluster, id=f"{ratio.id}.{SEEN}", unit=ratio.unit,
        group={**(ratio.group or {}), "rows": word})


def _median(values: np.ndarray, ratio: Estimate, word: str) -> Estimate:
    return Estimate(
        id=f"{ratio.id}.{SEEN}", kind="median", unit=ratio.unit, n=len(values),
        value=float(np.median(values)) if len(values) else None,
        method="description of the sample", group={**(ratio.group or {}), "rows": word})


def _e_values(ratio: Estimate) -> tuple[Estimate, ...]:
    if ratio.events is None or ratio.low is None or ratio.high is None or not ratio.n:
        return ()
    share = ratio.events / ratio.n
    value, low, high = (as_risk_ratio(v, ratio.kind, share)
                        for v in (ratio.value or 1.0, ratio.low, ratio.high))
    if low <= 1 <= high:
        return ()
    found = Estimate(id=f"{ratio.id}.{E_VALUE}", kind="E-value", value=e_value(value),
                     unit=ratio.unit, group=ratio.group, n=ratio.n,
                     method="VanderWeele and Ding 2017")
    return (found, replaced(found, id=f"{ratio.id}.{E_BOUND}", value=e_value_of_bound(low, high)))


def _named_apart(estimates: Iterable[Estimate]) -> list[Estimate]:
    """Two models of one outcome and variable differ in their adjustment: told apart by number."""
    seen: dict[object, int] = {}
    found = []
    for e in estimates:
        times = seen[key_of(e)] = seen.get(key_of(e), 0) + 1
        found.append(e if times == 1 else replaced(
            e, group={**(e.group or {}), "model": f"no {times} of this outcome and variable"}))
    return found


def events_per_coefficient(models: TechniqueModels | None) -> pd.DataFrame:
    """Of each answered yes/no model: `events` (the rarer outcome), `coefficients`, `unit`, `name`.

    Of the model whose ratio is shown: the pooled one where gaps were imputed.
    """
    rows = []
    for r in () if models is None else models.results:
        shown = r.imputed or r.fit
        if not r.answered or shown is None or shown.events is None or r.fit is None:
            continue
        rows.append({"name": r.model.name, "unit": r.model.unit,
                     "events": min(shown.events, shown.n - shown.events),
                     "coefficients": r.fit.rows.x.shape[1] - 1})
    return pd.DataFrame(rows, columns=["name", "unit", "events", "coefficients"])
