"""Groups compared: their counts, the differences with intervals, and one test of all of them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.content.blocks import Block, Cell, Section, Table, plain
from analyses.documents.tables.measure_tables import number_cell
from analyses.measures.comparisons import differences, enough, groups_compared
from analyses.measures.headlines import Headline
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.proportions_compared import FLOOR
from analyses.study.answers import Answer, in_a_sentence
from analyses.study.study_shown import ShowsItself
from analyses.words.wording_of_p import p_text

CAUTION = ("Groups of an observational series differ in more than what names them: a difference "
           "describes, and does not show an effect.")


@dataclass(frozen=True, repr=False)
class Comparison(ShowsItself):
    """A measure compared between groups.

    answer: the measure in each group, its counts; differences: each group less the one that the
    others are compared with (-1 to 1); p_value: of one test of all groups by exchange of whole
    patients (or Fisher's), None where there is none; why: why there is no test, or no comparison
    at all; method: the test's name; not_tested: groups too small for it.
    """

    answer: Answer
    differences: tuple[Estimate, ...]
    p_value: float | None
    why: str
    method: str = ""
    not_tested: tuple[str, ...] = ()

    def frame(self) -> pd.DataFrame:
        """One row a difference: groups, value, low, high, level, counts in words, method."""
        return pd.DataFrame([{
            "groups": ", ".join((one.group or {}).values()), "value": one.value, "low": one.low,
            "high": one.high, "level": one.level, "text": one.number_text(), "method": one.method,
        } for one in self.differences],
            columns=["groups", "value", "low", "high", "level", "text", "method"])

    def sentence(self) -> str:
        """The counts, the differences, and what the test says or why there is none."""
        said = [f"{self.answer.measure.label} by {in_a_sentence(self.answer.by_label)}:",
                "; ".join(f"{', '.join((e.group or {}).values())} {e.number_text()}"
                          for e in self.answer.estimates if e.group) + "."]
        said += [f"{', '.join((e.group or {}).values())}: {e.number_text()}."
                 for e in self.differences]
        return " ".join((*said, self.test(), *self.answer.cautions))

    def test(self) -> str:
        """What the test of all groups says, or why there is none."""
        if self.p_value is None:
            return f"No test: {self.why}."
        out = (f"; left out as too small: {', '.join(self.not_tested)}" if self.not_tested else "")
        return f"Test of all groups ({self.method}): {p_text(self.p_value)}{out}."

    def content(self) -> tuple[Section, ...]:
        """The counts of each group, the differences, the test, and the methods."""
        counted = self.answer.content()[0]
        blocks: list[Block] = list(counted.blocks[:1])
        if self.differences:
            blocks.append(Table("differences", "Differences, first group less the second",
                                ("Groups", "Counts and difference (interval)"), tuple(
                (Cell(", ".join((e.group or {}).values()), heading=True), number_cell(e))
                for e in self.differences)))
        return (Section(f"{counted.title}: groups compared", (
            *blocks, plain(self.test(), CAUTION, *self.answer.cautions), *counted.blocks[-1:])),)


def compared(headline: Headline, by: str, answer: Answer, level: float) -> Comparison:
    """Compare the levels of a column of the headline's frame.

    Nothing is compared where the gate refuses a point; below the floor of 8 events and 8 units
    without one the counts stand alone.
    """
    if not headline.verdict:
        return Comparison(answer, (), None, headline.verdict.why)
    rows = headline.known()
    if not enough(rows):
        events = int(rows["event"].sum())
        return Comparison(answer, (), None, (
            f"{events} with the event and {len(rows) - events} without; at least {FLOOR} of each "
            "are wanted for a comparison, so the counts stand alone"))
    found = tuple(differences(headline, by, level))
    tested = groups_compared(headline, by, level)
    return Comparison(answer, found, tested.p_value, tested.why, tested.method, tested.left_out)
