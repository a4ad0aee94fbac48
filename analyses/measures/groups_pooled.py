"""Comparisons of five or more groups by partial pooling, in the place of raw differences.

Where partial pooling answers, its shares and differences are nearer the truth than the raw ones
(tests/reference/partial_pooling.md), so that a report shows them; the counts stand beside them.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.measures.comparisons import COMPARED, halves_added, large_enough
from analyses.measures.headlines import Headline, headlines
from analyses.population.unit_frames import Units, once
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.partial_pooling import (
    PartialPooling,
    partial_pooling,
    why_not_pooled,
)
from registry.schema import Patients


@dataclass(frozen=True)
class GroupsPooled:
    """A measure in the groups of one column, partially pooled.

    id: the measure; unit: what is counted; column: the grouping.
    """

    id: str
    unit: str
    column: str
    pooled: PartialPooling

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Its shares, differences and probabilities, under `pooled.ID`."""
        return self.pooled.estimates


@once
def pooled_columns(units: Units) -> frozenset[tuple[str, str]]:
    """Measure and grouping of every comparison that partial pooling answers."""
    return frozenset(
        (headline.id, column) for headline in headlines(units).values() for column in COMPARED
        if _is_answered(_rows(headline, column), column))


def groups_pooled(units: Units, important: float | None = None) -> tuple[GroupsPooled, ...]:
    """Every comparison that partial pooling answers.

    important: a size of difference (0 to 1) whose probability of being passed is wanted.
    """
    answered = pooled_columns(units)
    return tuple(
        GroupsPooled(headline.id, headline.unit, column,
                     comparison_pooled(headline, column, important))
        for headline in headlines(units).values() for column in COMPARED
        if (headline.id, column) in answered)


def _is_answered(rows: pd.DataFrame, column: str) -> bool:
    return len(rows) > 0 and not why_not_pooled(rows["event"].astype(bool).to_numpy(), rows[column])


def _rows(headline: Headline, column: str) -> pd.DataFrame:
    """The units of known outcome in the groups that are compared, these in their order."""
    rows = halves_added(headline.known())
    names = large_enough(rows, column)
    rows = rows[rows[column].isin(names)]
    return rows.assign(**{column: pd.Categorical(rows[column].astype(str), categories=names)})


def comparison_pooled(
    headline: Headline, column: str, important: float | None = None,
) -> PartialPooling:
    """The groups of one column pooled; nothing, and `why`, where partial pooling has no answer."""
    rows = _rows(headline, column)
    if rows.empty:
        return PartialPooling(
            important=important, why="no unit has both a known outcome and a group")
    return partial_pooling(
        rows["event"].astype(bool).to_numpy(), rows[column], rows[Patients.patient_id].to_numpy(),
        important=important, by=column, id=f"pooled.{headline.id}", unit=headline.unit)
