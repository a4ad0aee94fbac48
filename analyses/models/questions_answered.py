"""The declared questions answered: differences with intervals held together, and Holm's P.

Intervals are given at 1 - 0.05/k for k differences (Bonferroni), so that all of them hold at 95 %
together; P values of the k tests are adjusted after Holm 1979, Scand J Stat 6:65.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analyses.measures.comparisons import differences, groups_compared
from analyses.measures.declared import share_of
from analyses.measures.headlines import Headline
from analyses.models.declared_question import WORDS, Question
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.proportions_compared import ProportionsCompared
from analyses.words.wording_of_p import p_text

FAMILY = 0.05
HOLM = "Holm-adjusted"


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


def answer_questions(
    units: Units, questions: Sequence[Question],
) -> tuple[AnsweredQuestion, ...]:
    """Answer the questions of a plan together.

    Where the gate refuses a point, or events are under the floor, the answer says why in place
    of numbers.
    """
    return answer_headlines([_headline(units, question) for question in questions], questions)


def answer_headlines(
    asked: Sequence[Headline], questions: Sequence[Question],
) -> tuple[AnsweredQuestion, ...]:
    """The same for the units at hand: one headline a question, in their order."""
    pairs = sum(len(differences(headline, q.by))
                for headline, q in zip(asked, questions, strict=True))
    level = 1 - FAMILY / max(pairs, 1)
    found = [_answered(q, headline, level)
             for q, headline in zip(questions, asked, strict=True)]
    return _adjusted(found)


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


def _adjusted(found: Sequence[AnsweredQuestion]) -> tuple[AnsweredQuestion, ...]:
    """The same with P values after Holm, over the questions that have a test."""
    from statsmodels.stats.multitest import multipletests

    given = [(place, one.tested.p_value) for place, one in enumerate(found)
             if one.tested is not None and one.tested.p_value is not None]
    if not given:
        return tuple(found)
    adjusted = multipletests([p for _, p in given], method="holm")[1]
    values = {place: float(p) for (place, _), p in zip(given, adjusted, strict=True)}
    return tuple(replace(one, adjusted_p=values.get(place)) for place, one in enumerate(found))
