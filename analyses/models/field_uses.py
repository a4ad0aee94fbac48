"""Which measures and technique variables rest on a field, for the data dictionary."""

from __future__ import annotations

from analyses.measures.declared import all_measures
from analyses.models.technique_declared import all_terms


def field_uses() -> dict[str, tuple[str, ...]]:
    """A field, as "table.field" → the labels of what rests on it, measures first."""
    found: dict[str, dict[str, None]] = {}
    for one in (*all_measures().values(), *all_terms().values()):
        for field in one.uses:
            found.setdefault(field, {})[one.label] = None
    return {field: tuple(labels) for field, labels in found.items()}
