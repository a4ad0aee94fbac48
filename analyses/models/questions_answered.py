"""The declared questions answered: differences with intervals held together, and Holm's P.

Intervals are given at 1 - 0.05/k for k differences and ratios (Bonferroni), so that all of them
hold at 95 % together; P values of the k tests are adjusted after Holm 1979, Scand J Stat 6:65.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analyses.measures.comparisons import differences, groups_compared
from analyses.measures.declared import share_of
from analyses.measures.headlines import Headline
from analyses.models.declared_question import WORDS, AnyQuestion, ModelQuestion, Question
from analyses.models.model_answered import (
    AnsweredModel,
    model_answered,
    ratios_given,
    result_of,
)
from analyses.models.planned_result import PlannedResult
from analyses.models.technique_frame import technique_frames
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.proportions_compared import ProportionsCompared
from analyses.words.wording_of_p import HOLM, p_text

if TYPE_CHECKING:
    import pandas as pd

FAMILY = 0.05


@dataclass(frozen=True)
class AnsweredQuestion:
    """One declared question with its answer.

    differences: each group less the reference (-1 to 1), at a level that holds all declared
    questions together; tested: the counts, and the unadjusted test; adjusted_p: after Holm, None
    where there is no test; why: why there is no comparison, or no test.
    """

    question: Question
    headline: Headline
    differences: tuple[Estimate, ...]
    tested: ProportionsCompared | None
    adjusted_p: float | None
    why: str

    @property
    def p_values(self) -> tuple[float, ...]:
        """The P of its one test, unadjusted; none where there is no test."""
        p = None if self.tested is None else self.tested.p_value
        return () if p is None else (p,)

    def after_holm(self, values: Sequence[float]) -> AnsweredQuestion:
        """The same with its adjusted P, where there is a test."""
        return replace(self, adjusted_p=next(iter(values), None))

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The differences, and the adjusted P beside them."""
        if self.adjusted_p is None or self.tested is None:
            return self.differences
        p = Estimate(
            id=f"question.{self.question.measure}.p", kind="P value", value=self.adjusted_p,
            unit=self.question.unit, method=f"{self.tested.method}, {HOLM}",
            group={self.question.by: "all groups"}, n=int(self.tested.table["n"].sum()),
            events=int(self.tested.table["events"].sum()))
        return (*self.differences, p)

    def test_text(self) -> str:
        """The test in words, or why there is none."""
        if self.adjusted_p is None or self.tested is None:
            return f"no test: {self.why}"
        out = (f"; left out as too small: {', '.join(self.tested.left_out)}"
               if self.tested.left_out else "")
        return f"{self.tested.method}, {HOLM} {p_text(self.adjusted_p)}{out}"

    def by_words(self) -> str:
        """The grouping in words."""
        return WORDS[self.question.by]


Answered = AnsweredQuestion | AnsweredModel


def answer_questions(
    units: Units, questions: Sequence[AnyQuestion], results: Sequence[PlannedResult] = (),
) -> tuple[Answered, ...]:
    """Answer the questions of a plan together.

    results: of the plan's models, for the questions that name one. Where the gate refuses a
    point, or events are under the floor, the answer says why in place of numbers.
    """
    asked = {one: _headline(units, one) for one in questions if isinstance(one, Question)}
    models = {one: result_of(one, results) for one in questions if isinstance(one, ModelQuestion)}
    return answer_headlines(
        asked, models, questions, technique_frames(units) if models else {})


def answer_headlines(
    asked: Mapping[Question, Headline], models: Mapping[ModelQuestion, PlannedResult],
    questions: Sequence[AnyQuestion], frames: Mapping[str, pd.DataFrame],
) -> tuple[Answered, ...]:
    """The same for the units at hand: each question's headline, or its model's result.

    frames: unit to the rows that the models were fitted on.
    """
    level = _level_of(tuple(asked.values()), tuple(asked), sum(map(ratios_given, models.values())))
    found: dict[AnyQuestion, Answered] = {
        q: _answered(q, headline, level) for q, headline in asked.items()}
    found |= {q: model_answered(q, result, frames, level) for q, result in models.items()}
    return _adjusted([found[one] for one in questions])


def _level_of(asked: Sequence[Headline], questions: Sequence[Question], ratios: int) -> float:
    """The level of each interval, so that all differences and ratios hold together at 95 %."""
    pairs = sum(len(differences(headline, q.by))
                for headline, q in zip(asked, questions, strict=True))
    return 1 - FAMILY / max(pairs + ratios, 1)


def _headline(units: Units, question: Question) -> Headline:
    share = share_of(question.measure)
    return Headline(share.id, question.unit, share.frame(units, question.unit),
                    share.verdict(units, question.unit))


def _answered(question: Question, headline: Headline, level: float) -> AnsweredQuestion:
    if not headline.verdict:
        return AnsweredQuestion(question, headline, (), None, None, headline.verdict.why)
    found = tuple(replaced(e, id=f"question.{headline.id}")
                  for e in differences(headline, question.by, level))
    tested = groups_compared(headline, question.by)
    return AnsweredQuestion(question, headline, found, tested, None, tested.why)


def _adjusted(found: Sequence[Answered]) -> tuple[Answered, ...]:
    """The same with P values after Holm, over all tests of all questions."""
    from statsmodels.stats.multitest import multipletests

    given = [p for one in found for p in one.p_values]
    if not given:
        return tuple(found)
    left = iter(map(float, multipletests(given, method="holm")[1]))
    return tuple(one.after_holm([next(left) for _ in one.p_values]) for one in found)
