"""Several small groups compared by partial pooling, their counts beside them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.content.blocks import Block, Cell, Section, Table, plain
from analyses.documents.tables.measure_tables import number_cell
from analyses.measures.headlines import Headline
from analyses.population.unit_frames import NOT_RECORDED
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.partial_pooling import PartialPooling, partial_pooling
from analyses.study.answers import Answer, in_a_sentence
from analyses.study.group_comparison import CAUTION
from analyses.study.study_shown import ShowsItself
from analyses.words.numerals import percent
from registry.schema import Patients

DRAWN = ("Each group's share is drawn towards the others' as far as the groups are alike, which "
         "the data tell: nearer the truth on average, in tests/reference/partial_pooling.md. "
         "Where a group is known to be of another kind it should stand alone.")


@dataclass(frozen=True, repr=False)
class PooledGroups(ShowsItself):
    """A measure in several groups that lend each other strength.

    answer: the measure in each group, its counts; pooled: the shares, their differences, and the
    probability of an important one (none of it where there are too few groups or events, `why`).
    """

    answer: Answer
    pooled: PartialPooling

    @property
    def why(self) -> str:
        """Why there is no pooled estimate; "" where there is."""
        return self.pooled.why

    def frame(self) -> pd.DataFrame:
        """One row a number: what, groups, value, low, high (shares from 0 to 1)."""
        return pd.DataFrame([{
            "what": e.id.removeprefix("pooled").removeprefix(".") or "share",
            "groups": ", ".join((e.group or {}).values()), "value": e.value, "low": e.low,
            "high": e.high} for e in self.pooled.estimates],
            columns=["what", "groups", "value", "low", "high"])

    def sentence(self) -> str:
        """What was found, or why nothing is given beside the counts."""
        named = f"{self.answer.measure.label} by {in_a_sentence(self.answer.by_label)}"
        if self.why:
            return f"{named}: no pooled estimate: {self.why}."
        shares = "; ".join(f"{', '.join((e.group or {}).values())} {_share(e)}"
                           for e in self.pooled.groups)
        return " ".join((f"{named}, partially pooled: {shares}.", *self._exceeding(), CAUTION))

    def _exceeding(self) -> list[str]:
        return [f"{(e.group or {})[self.by]}: probability {percent(e.value or 0.0)} % of a "
                f"difference of more than {100 * (self.pooled.important or 0):g} points."
                for e in self.pooled.exceeding]

    @property
    def by(self) -> str:
        """The grouping's column."""
        return self.answer.by or ""

    def content(self) -> tuple[Section, ...]:
        """The counts of each group, the pooled shares and differences, and how they were made."""
        counted = self.answer.content()[0]
        blocks: list[Block] = list(counted.blocks[:1])
        if not self.why:
            rows = (*self.pooled.groups, *self.pooled.differences)
            blocks.append(Table(
                "pooled", "Partially pooled shares, and differences from the group compared with",
                ("Groups", "Pooled (95 % credible interval)" if rows[0].level == 0.95
                 else "Pooled (credible interval)"),
                tuple((Cell(", ".join((e.group or {}).values()), heading=True), number_cell(e))
                      for e in rows)))
        said = [self.sentence() if self.why else DRAWN, *self._exceeding(), CAUTION]
        return (Section(f"{counted.title}: groups partially pooled", (
            *blocks, plain(*said, *self.answer.cautions), *counted.blocks[-1:])),)


def _occurring(groups: pd.Series) -> pd.Series:
    """The groups without levels that nobody is in, in their order."""
    if isinstance(groups.dtype, pd.CategoricalDtype):
        return groups.cat.remove_unused_categories()
    return groups


def _share(e: Estimate) -> str:
    """A pooled share in words; its group's counts stand in the answer."""
    return (f"{percent(e.value or 0.0)} % ({percent(e.low or 0.0)}–{percent(e.high or 0.0)}; "
            f"counted {e.events}/{e.n})")


def pooled_groups(
    headline: Headline, by: str, answer: Answer, important: float | None, level: float,
) -> PooledGroups:
    """Pool the levels of a column of the headline's frame, among units of known outcome.

    Nothing is pooled where the gate refuses a point. Raises ValueError for an important
    difference outside 0 to 1.
    """
    if not headline.verdict:
        return PooledGroups(answer, PartialPooling(important=important, why=headline.verdict.why))
    rows = headline.known()
    rows = rows[rows[by].ne(NOT_RECORDED) & rows[by].notna() & rows[Patients.patient_id].notna()]
    if rows.empty:
        return PooledGroups(answer, PartialPooling(
            important=important, why="no unit has both a known outcome and a group"))
    patients = rows[Patients.patient_id].to_numpy()
    return PooledGroups(answer, partial_pooling(
        rows["event"].astype(bool).to_numpy(), _occurring(rows[by]), patients,
        important=important, level=level, by=by, unit=headline.unit))
