"""A declared question that a technique model answers: its ratios, held together with the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analyses.models.declared_question import ModelQuestion
from analyses.models.planned_result import PlannedResult
from analyses.models.planned_run import run_model
from analyses.models.shown_ratios import FEW_ROWS, shown_ratios
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.table_numbers import number_at
from analyses.words.wording_of_p import HOLM, p_text


@dataclass(frozen=True)
class AnsweredModel:
    """One declared question with the ratios that answer it.

    result: the model, its intervals at a level that holds all declared questions together;
    ratios: its estimates, none where the model gives no answer, and then `why`; p_values: of each
    ratio, Wald or profile as its interval is; adjusted: the same after Holm.
    """

    question: ModelQuestion
    result: PlannedResult
    ratios: tuple[Estimate, ...]
    p_values: tuple[float, ...]
    why: str = ""
    adjusted: tuple[float, ...] = ()

    def after_holm(self, values: Sequence[float]) -> AnsweredModel:
        """The same with its adjusted P values, one a ratio."""
        return replace(self, adjusted=tuple(values))

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The ratios, and the adjusted P of each."""
        tested = tuple(
            replaced(e, id=f"{e.id}.p", kind="P value", value=p, low=None, high=None,
                     method=f"{e.method}, {HOLM}")
            for e, p in zip(self.ratios, self.adjusted, strict=False))
        return (*self.ratios, *tested)

    def test_text(self) -> str:
        """The P values in words, or why there is none."""
        if not self.adjusted:
            return f"no test: {self.why}"
        told = (f"{_level(e)}{HOLM} {p_text(p)}"
                for e, p in zip(self.ratios, self.adjusted, strict=True))
        return "; ".join(told)


def result_of(question: ModelQuestion, results: Sequence[PlannedResult]) -> PlannedResult:
    """The result of the model that a question names. Raises KeyError where it was not run."""
    for one in results:
        if one.model.name == question.model:
            return one
    raise KeyError(question.model)


def ratios_given(result: PlannedResult) -> int:
    """How many ratios a model gives, each a claim of its own."""
    return len(shown_ratios(result))


def model_answered(
    question: ModelQuestion, result: PlannedResult, frames: Mapping[str, pd.DataFrame],
    level: float,
) -> AnsweredModel:
    """Answer a question by its model, fitted again with intervals of this level.

    frames: unit to its rows, as the model was fitted on.
    """
    if not ratios_given(result):
        return AnsweredModel(question, result, (), (), _why(result))
    again = run_model(result.model, frames[result.model.unit], level, result.status)
    given = shown_ratios(again)
    table = again.imputed.table if again.imputed is not None else None
    if table is None and again.fit is not None:
        table = again.fit.table
    assert table is not None
    p_values = tuple(number_at(table, (e.group or {})["term"], "p") for e in given)
    named = tuple(replaced(e, id=f"question.{e.id}") for e in given)
    return AnsweredModel(question, again, named, tuple(np.nan_to_num(p_values, nan=1.0)))


def _why(result: PlannedResult) -> str:
    if result.fit is None:
        return result.refusal
    if not result.answered:
        return result.fit.why.rstrip(".")
    return f"fewer than {FEW_ROWS} rows on one side"


def _level(e: Estimate) -> str:
    """`EVOH 8 %: ` of a factor's level; blank of a line of its own."""
    level = (e.group or {})["term"].partition(" [")[2].rstrip("]")
    return f"{level}: " if level else ""
