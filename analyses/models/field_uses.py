"""Which measures, groupings and technique variables rest on a field, for the data dictionary."""

from __future__ import annotations

from analyses.measures.declared import all_measures
from analyses.measures.group_words import GROUP_LABELS
from analyses.measures.measure import Measure
from analyses.models.technique_declared import all_terms
from analyses.models.technique_term import TechniqueTerm
from analyses.population.unit_frames import GROUPED_FROM


def field_uses() -> dict[str, tuple[str, ...]]:
    """A field, as "table.field" → the labels of what rests on it, groupings last."""
    found: dict[str, dict[str, None]] = {}
    declared: list[Measure | TechniqueTerm] = [*all_measures().values(), *all_terms().values()]
    for one in declared:
        for field in one.uses:
            found.setdefault(field, {})[one.label] = None
    for grouping, fields in GROUPED_FROM.items():
        for field in fields:
            found.setdefault(field, {})[f"groups by {GROUP_LABELS[grouping]}"] = None
    return {field: tuple(labels) for field, labels in found.items()}
