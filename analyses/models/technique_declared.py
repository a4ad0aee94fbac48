"""Every technique variable there is, found again by its column, and what may not be asked of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from types import MappingProxyType

import pandas as pd

from analyses.measures.measure import Direction, Measure
from analyses.models import technique_terms
from analyses.models.applies import applies_to
from analyses.models.technique_rows import TechniqueRows
from analyses.models.technique_term import TechniqueTerm
from registry.schema import Injections

ON_PURPOSE = Injections.venous_occlusion_intended
"""Closing a vein on purpose is neither a complication nor an exposure of one."""


@cache
def all_terms() -> MappingProxyType[str, TechniqueTerm]:
    """Column → technique variable, in the order in which they stand in `technique_terms`.

    Raises ValueError where two declare one column.
    """
    found: dict[str, TechniqueTerm] = {}
    for one in vars(technique_terms).values():
        if isinstance(one, TechniqueTerm) and found.setdefault(one.id, one) is not one:
            raise ValueError(f"{one.id} is declared twice.")
    return MappingProxyType(found)


def term_of(column: str) -> TechniqueTerm | None:
    """The technique variable of a column; None for a column that is none."""
    return all_terms().get(column)


def offered(outcome: Measure) -> list[TechniqueTerm]:
    """The technique variables that an outcome may be asked by."""
    return [one for one in all_terms().values() if one.offered_for(outcome)]


def applies_columns() -> list[str]:
    """The yes/no columns beside what has no meaning in every row (see `applies`)."""
    return [applies_to(one.id) for one in all_terms().values() if one.applies]


def totals(technique: TechniqueRows) -> pd.DataFrame:
    """Every technique variable, `push_min` and `case_number` of each unit, and where each applies.

    Index: the units. Columns: the variables' own, and those of `applies_columns`.
    """
    terms = all_terms().values()
    values = {one.id: one.works(technique) for one in terms}
    asked = {applies_to(one.id): one.applies.where(technique) for one in terms if one.applies}
    return pd.DataFrame({**values, "push_min": technique.push_min,
                         "case_number": technique.case_number, **asked}, index=technique.units)


def later_steps(exposure: Sequence[str], adjust: Iterable[str]) -> list[str]:
    """The columns adjusted for that come after the exposure in the chain of causes."""
    start = next((one.step for column in exposure if (one := term_of(column))), None)
    if start is None:
        return []
    return [column for column in adjust if (one := term_of(column)) and one.step > start]


def not_offered(columns: Iterable[str], outcome: Measure) -> list[str]:
    """Sentences on columns that may not stand in a model of an outcome, as asked or adjusted."""
    said = []
    for column in columns:
        one = term_of(column)
        if one is not None and not one.offered_for(outcome):
            said.append(f"{column} is the last step of what leads to {outcome.subject}, so it is "
                        "not offered for it: it would be explained by a part of itself")
        if column == ON_PURPOSE and outcome.direction is Direction.HARM:
            said.append(f"{column}: closing a vein on purpose is neither a complication nor an "
                        "exposure of one")
    return said
